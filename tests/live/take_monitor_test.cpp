#include "ringtrue/live/take_monitor.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <random>
#include <string>
#include <vector>

#include "live/played.hpp"
#include "rigs.hpp"
#include "ringtrue/core/errors.hpp"

using namespace ringtrue;
using namespace ringtrue::test;

namespace {

const Rig rig = simple_rig(2);
constexpr std::int64_t lag = 600;

Stimulus quick_stimulus() {
  StimulusOptions options;
  options.main_sweep = Seconds{1.0};
  options.decay = Seconds{0.5};
  return plan_stimulus(rig, options);
}

LevelCheck usual_check() {
  LevelCheck check;
  check.loopback_lag = lag;
  check.loopback_gain = 1.0;
  check.loopback_noise_dbfs = -200.0;
  return check;
}

/// What the monitor says of a recording that comes in blocks, and at which frame; empty: nothing.
std::pair<std::string, std::size_t> said_of(const Stimulus& stimulus, const Recording& recording,
                                            const LevelCheck& check = usual_check()) {
  TakeMonitor monitor{stimulus, check, "card"};
  std::vector<float> interleaved;
  for (std::size_t n = 0; n < recording.microphone.size(); ++n) {
    interleaved.push_back(recording.microphone[n]);
    interleaved.push_back(recording.loopback[n]);
    if (n % 512 != 511) continue;
    try {
      (void)monitor({interleaved, 2});
    } catch (const DeviceError& error) {
      return {error.what(), n};
    }
  }
  return {};
}

}  // namespace

TEST_CASE("a take in which nothing happens is left alone") {
  const Stimulus stimulus = quick_stimulus();
  CHECK(said_of(stimulus, played(stimulus, rig, lag, 0.3F, 1e-4F)).first.empty());
}

TEST_CASE("a microphone that goes, and a whole device that goes, are told apart within 0.2 s and 1.2 s") {
  const Stimulus stimulus = quick_stimulus();
  Recording recording = played(stimulus, rig, lag, 0.3F, 1e-4F);
  const std::size_t gone = 60'000;  // inside the first sweep
  for (std::size_t n = gone; n < recording.microphone.size(); ++n) recording.microphone[n] = 0.0F;
  const auto [muted, muted_at] = said_of(stimulus, recording);
  CHECK(muted.find("the microphone's input delivers nothing any more") != std::string::npos);
  CHECK(muted_at < gone + 10'800);
  for (std::size_t n = gone; n < recording.loopback.size(); ++n) recording.loopback[n] = 0.0F;
  const auto [lost, lost_at] = said_of(stimulus, recording);
  CHECK((lost.find("deliver nothing any more") != std::string::npos ||
         lost.find("outputs are muted") != std::string::npos));
  CHECK(lost_at < gone + 62'400);
}

TEST_CASE("exact zeros mean nothing where the inputs are exactly zero in silence") {
  const Stimulus stimulus = quick_stimulus();
  LevelCheck check = usual_check();
  check.microphone_quiet_zero = true;
  CHECK(said_of(stimulus, played(stimulus, rig, lag), check).first.empty());
}

TEST_CASE("muted outputs, another program and broken numbers end the take") {
  const Stimulus stimulus = quick_stimulus();
  const Recording whole = played(stimulus, rig, lag, 0.3F, 1e-4F);
  Recording muted = whole;
  for (std::size_t n = 60'000; n < muted.loopback.size(); ++n) muted.loopback[n] = 0.0F;
  CHECK(said_of(stimulus, muted).first.find("outputs are muted") != std::string::npos);
  Recording mixed = whole;
  for (std::size_t n = 0; n < mixed.loopback.size(); ++n) {
    mixed.loopback[n] += 0.02F * static_cast<float>(std::sin(0.1 * static_cast<double>(n)));
  }
  CHECK(said_of(stimulus, mixed).first.find("something else plays") != std::string::npos);
  Recording broken = whole;
  broken.microphone[50'000] = std::numeric_limits<float>::quiet_NaN();
  CHECK(said_of(stimulus, broken).first.find("no numbers") != std::string::npos);
}

namespace {

Stimulus usual_stimulus() {
  StimulusOptions options;  // 2.2 s a sweep, 0.75 s between them
  options.main_sweep = Seconds{2.2};
  return plan_stimulus(rig, options);
}

/// What another program plays, rms 1 while it sounds.
double other_sound(const std::string& kind, double seconds, std::mt19937& random) {
  const double turn = 2.0 * std::numbers::pi * seconds;
  const double gate = std::fmod(seconds, 0.5) < 0.1 ? 1.0 : 0.0;  // a metronome's
  if (kind == "hiss") return std::normal_distribution<double>{0.0, 1.0}(random);
  if (kind == "bass tone") return std::sqrt(2.0) * std::sin(70.0 * turn);
  if (kind == "treble tone") return std::sqrt(2.0) * std::sin(6'000.0 * turn);
  if (kind == "beeps") return gate * std::sqrt(2.0) * std::sin(880.0 * turn);
  double notes = 0.0;  // plucked, every 0.3 s
  for (int k = 1; k <= 4; ++k) notes += std::sin(220.0 * turn * k) / k;
  return 1.5 * notes * std::exp(-std::fmod(seconds, 0.3) / 0.15);
}

/// The loopback as a wire between two converters has it: 0.4 frames late, a high-pass at 5 Hz, distortion of 0.5 %,
/// hiss.
void pass_through_converters(std::vector<float>& loopback, std::mt19937& random) {
  std::normal_distribution<double> hiss{0.0, 2e-4};
  const double keep = std::exp(-2.0 * std::numbers::pi * 5.0 / 48'000.0);
  double before = 0.0;
  double late_before = 0.0;
  double high = 0.0;
  for (float& sample : loopback) {
    const auto now = static_cast<double>(sample);
    const double late = 0.6 * now + 0.4 * before;
    high = keep * (high + late - late_before);
    before = now;
    late_before = late;
    const double relative = high / 0.126;  // of the sweep's peak; a cube's third harmonic is a quarter of it
    sample = static_cast<float>(0.7 * 0.126 * (relative + 0.02 * relative * relative * relative) + hiss(random));
  }
}

void repeat_frames(Recording& recording, std::size_t at, std::size_t frames) {
  for (auto* channel : {&recording.microphone, &recording.loopback}) {
    const std::vector<float> again(channel->begin() + static_cast<std::ptrdiff_t>(at - frames),
                                   channel->begin() + static_cast<std::ptrdiff_t>(at));
    channel->insert(channel->begin() + static_cast<std::ptrdiff_t>(at), again.begin(), again.end());
    channel->resize(channel->size() - frames);
  }
}

}  // namespace

TEST_CASE("another program is noticed within 1.2 s, whatever it plays and whenever it begins") {
  const Stimulus stimulus = usual_stimulus();
  const Recording whole = played(stimulus, rig, lag, 0.3F, 1e-4F);
  std::mt19937 random{3};
  std::uniform_int_distribution<std::size_t> any{20'000, whole.loopback.size() - 100'000};
  for (const char* const kind : {"hiss", "bass tone", "treble tone", "beeps", "notes"}) {
    for (const double level_db : {-45.0, -25.0, -6.0}) {  // the sweeps' rms is -21
      const std::size_t begins = any(random);
      CAPTURE(kind);
      CAPTURE(level_db);
      CAPTURE(begins);
      Recording mixed = whole;
      for (std::size_t n = begins; n < mixed.loopback.size(); ++n) {
        const double seconds = static_cast<double>(n - begins) / 48'000.0;
        mixed.loopback[n] += static_cast<float>(std::pow(10.0, level_db / 20.0) * other_sound(kind, seconds, random));
      }
      const auto [words, at] = said_of(stimulus, mixed);
      CHECK(words.find("something else plays") != std::string::npos);
      CHECK(at > begins);
      CHECK(at < begins + 57'600);
    }
  }
}

TEST_CASE("lost, repeated and late samples are not taken for another program") {
  const Stimulus stimulus = quick_stimulus();
  std::mt19937 random{5};
  for (int run = 0; run < 6; ++run) {
    CAPTURE(run);
    Recording recording = played(stimulus, rig, lag, 0.3F, 1e-4F);
    LevelCheck check = usual_check();
    if (run % 2 == 1) {
      pass_through_converters(recording.loopback, random);
      check.loopback_gain = 0.75;  // a little off
      check.loopback_noise_dbfs = -74.0;
    }
    std::uniform_int_distribution<std::size_t> any{30'000, recording.loopback.size() - 30'000};
    for (int fault = 0; fault < 4 * run; ++fault) {  // up to two a second
      const std::size_t frames = std::size_t{1} << std::uniform_int_distribution<unsigned>{0, 11}(random);
      if (fault % 2 == 0) {
        drop(recording, any(random), frames);
      } else {
        repeat_frames(recording, any(random), frames);
      }
    }
    CHECK(said_of(stimulus, recording, check).first == "");
  }
}

TEST_CASE("sweeps that overload the loopback's input are not taken for another program") {
  const Stimulus stimulus = quick_stimulus();
  Recording recording = played(stimulus, rig, lag, 0.3F, 1e-4F);
  for (float& sample : recording.loopback) sample = std::clamp(20.0F * sample, -1.0F, 1.0F);
  LevelCheck check = usual_check();
  check.loopback_gain = 20.0;
  CHECK(said_of(stimulus, recording, check).first.find("overload the loopback's input") != std::string::npos);
}

TEST_CASE("another program is noticed under overlapping sweeps, whose sum the outputs cut off") {
  StimulusOptions options;
  options.interleave = true;
  options.decay = Seconds{0.3};
  const Stimulus stimulus = plan_stimulus(rig, options);
  Recording recording = played(stimulus, rig, lag, 0.3F, 1e-4F);
  const float limit = 0.1F;
  for (float& sample : recording.loopback) sample = std::clamp(sample, -limit, limit);
  LevelCheck check = usual_check();
  check.limit_dbfs = -20.0;
  CHECK(said_of(stimulus, recording, check).first == "");
  std::mt19937 random{7};
  for (std::size_t n = 90'000; n < recording.loopback.size(); ++n) {
    recording.loopback[n] += static_cast<float>(0.02 * other_sound("hiss", 0.0, random));
  }
  const auto [words, at] = said_of(stimulus, recording, check);
  CHECK(words.find("something else plays") != std::string::npos);
  CHECK(at < 90'000 + 57'600);
}
