#include "progress.hpp"

#include <doctest/doctest.h>

#include <chrono>
#include <cmath>
#include <cstdio>
#include <memory>
#include <string>
#include <thread>

#include "rigs.hpp"
#include "take_progress.hpp"

using ringtrue::app::Progress;
using namespace std::chrono_literals;

namespace {

struct CloseFile {
  void operator()(std::FILE* file) const { std::fclose(file); }
};

/// What a terminal receives while `work` goes on.
template <class Work>
std::string shown(bool on_terminal, std::chrono::milliseconds patience, const Work& work) {
  const std::unique_ptr<std::FILE, CloseFile> terminal{std::tmpfile()};
  REQUIRE(terminal);
  {
    Progress progress{terminal.get(), on_terminal, patience};
    work(progress);
  }
  std::string text(static_cast<std::size_t>(std::ftell(terminal.get())), '\0');
  std::rewind(terminal.get());
  REQUIRE(std::fread(text.data(), 1, text.size(), terminal.get()) == text.size());
  return text;
}

void work_a_little(Progress& progress) {
  progress.now("position 1 of 1: measuring");
  std::this_thread::sleep_for(150ms);
}

}  // namespace

TEST_CASE("progress names the step and is erased at the end") {
  const std::string text = shown(true, 10ms, work_a_little);
  CHECK(text.find("position 1 of 1: measuring, 0 s") != std::string::npos);
  CHECK(text.ends_with("\r\x1b[K"));
  CHECK(text.find('\n') == std::string::npos);
}

TEST_CASE("progress is silent for quick work and where there is no terminal") {
  CHECK(shown(true, 10s, work_a_little).empty());
  CHECK(shown(false, 0ms, work_a_little).empty());
}

TEST_CASE("while a take plays, the speaker that sounds or comes next and the time left are told") {
  const ringtrue::Rig rig = ringtrue::test::simple_rig(2);
  const ringtrue::Stimulus stimulus = ringtrue::plan_stimulus(rig, {});
  const auto seconds = static_cast<std::int64_t>(std::ceil(static_cast<double>(stimulus.frames) / 48'000.0));
  const std::string all = "0:" + std::string(seconds < 10 ? "0" : "") + std::to_string(seconds) + " left";
  CHECK(ringtrue::app::take_progress(stimulus, rig, 0) == rig.speakers[0].label + " (output 1), " + all);
  const std::int64_t second = stimulus.sweeps[1].first_frame;
  CHECK(ringtrue::app::take_progress(stimulus, rig, second - 1).starts_with(rig.speakers[1].label + " (output 2), "));
  CHECK(ringtrue::app::take_progress(stimulus, rig, stimulus.frames) == "0:00 left");
}
