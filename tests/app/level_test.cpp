#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>
#include <numbers>
#include <string>
#include <vector>

#include "app/run_program.hpp"
#include "app/two_mains.hpp"
#include "ringtrue/capture/wav_file.hpp"

using namespace ringtrue;
using namespace ringtrue::test;
using Json = nlohmann::json;

namespace {

const std::string level_rig = R"(layout = "2.0"  # mine
[room]
size_m = [5.2, 4.4, 2.6]
)" + two_mains;
const std::string level_room = R"([recorder]
full_scale_spl_db = 118
microphone_gain_db = 5
)" + two_mains_placed;

class LevelSession : public TemporaryFolder {
 public:
  LevelSession() {
    write_file(path() / "rig.toml", level_rig);
    write_file(path() / "room.toml", level_room);
  }
  Json level(const std::string& arguments) const {
    const Outcome outcome = run_program(path(), "level rig.toml --json " + arguments);
    CHECK(outcome.error == "");
    REQUIRE(outcome.status == 0);
    return Json::parse(outcome.out);
  }
  void write_tone(const std::string& name, double rms, double frequency_hz = 1'000.0) const {
    std::vector<float> samples(5 * 48'000);
    for (std::size_t n = 0; n < samples.size(); ++n) {
      const double phase = 2.0 * std::numbers::pi * frequency_hz * static_cast<double>(n) / 48e3;
      samples[n] = static_cast<float>(std::sqrt(2.0) * rms * std::sin(phase));
    }
    write_wav(path() / name, 48e3, std::vector<std::vector<float>>{samples});
  }
};

}  // namespace

TEST_CASE("a recorded calibrator sets full scale in the rig and keeps the rest") {
  const LevelSession session;
  session.write_tone("tone.wav", 0.01);  // -40 dB re 1.0 rms at 94 dB: full scale is 134 dB
  const Json json = session.level("--recording tone.wav --calibrator 94");
  CHECK(std::abs(json["full_scale_spl_db"].get<double>() - 134.0) < 0.02);
  CHECK(json["unit"] == "dB SPL");
  for (const char* const weighting : {"a_slow_db", "c_slow_db", "z_slow_db"}) {  // all 0 dB at 1 kHz
    CHECK(std::abs(json[weighting].get<double>() - 94.0) < 0.1);                 // slow: 5 s from silence
  }
  // spl_reference.csv (ATSC A/85): 78 dB from 42.5 to 141.6 m3; this room has 59.5.
  CHECK(json["reference_level"]["spl_db"] == 78.0);
  const std::string text = content_of(session.path() / "rig.toml");
  CHECK(text.starts_with(level_rig));
  CHECK(text.find("full_scale_spl_db = 134.0") != std::string::npos);
}

TEST_CASE("calibrator and meter agree in a virtual room, and levels are dB SPL from then on") {
  const LevelSession session;
  const std::string quick = " --sweep-seconds 0.7 --decay-seconds 0.4 --virtual room.toml --json";
  const Outcome relative = run_program(session.path(), "calibrate rig.toml --out relative" + quick);
  const double by_tone = session.level("--virtual room.toml --calibrator 94")["full_scale_spl_db"];
  const double by_meter = session.level("--virtual room.toml --meter --speaker R")["full_scale_spl_db"];
  CHECK(std::abs(by_tone - 113.0) < 0.02);  // 118 dB at a gain of 0, 5 dB of gain
  CHECK(std::abs(by_meter - 113.0) < 0.3);
  const Outcome absolute = run_program(session.path(), "calibrate rig.toml --out absolute" + quick);
  const Json before = Json::parse(relative.out);
  const Json after = Json::parse(absolute.out);
  CHECK(before["level_unit"] == "dB");
  CHECK(after["level_unit"] == "dB SPL");
  for (std::size_t s = 0; s < 2; ++s) {  // the noise has -20 dB re 1.0 rms
    const double gained = after["speakers"][s]["measured"]["positions"][0]["level_db"].get<double>() -
                          before["speakers"][s]["measured"]["positions"][0]["level_db"].get<double>();
    CHECK(std::abs(gained - (by_meter - 20.0)) < 0.002);
    CHECK(after["speakers"][s]["settings"] == before["speakers"][s]["settings"]);
  }
  CHECK(absolute.out.find("listening-level") != std::string::npos);
  CHECK(relative.out.find("listening-level") == std::string::npos);
}

TEST_CASE("what is no calibration leaves the rig as it is") {
  const LevelSession session;
  session.write_tone("low.wav", 0.01, 250.0);
  const std::vector<std::pair<std::string, std::string>> wrong{
      {"--recording low.wav --calibrator 94", "holds no clean tone of 1 kHz"},
      {"--recording low.wav --meter", "does not say what the meter showed"},
      {"--recording low.wav --calibrator 94 --meter 70", "give one of them"},
      {"--calibrator 94", "give one source"},
      {"--virtual room.toml --meter --speaker X", "no speaker X"}};
  for (const auto& [arguments, words] : wrong) {
    CAPTURE(arguments);
    const Outcome outcome = run_program(session.path(), "level rig.toml " + arguments);
    CHECK(outcome.status == 2);
    CHECK(outcome.error.find(words) != std::string::npos);
    CHECK(std::ranges::count(outcome.error, '\n') == 1);
    CHECK(content_of(session.path() / "rig.toml") == level_rig);
  }
}
