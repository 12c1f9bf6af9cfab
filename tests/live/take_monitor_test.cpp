#include "ringtrue/live/take_monitor.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <limits>
#include <string>

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

TEST_CASE("another program is noticed while a sweep plays, lost and repeated samples are not taken for one") {
  StimulusOptions options;  // 2.2 s a sweep, 0.75 s between them
  options.main_sweep = Seconds{2.2};
  const Stimulus stimulus = plan_stimulus(rig, options);
  const Recording whole = played(stimulus, rig, lag, 0.3F, 1e-4F);
  CHECK(said_of(stimulus, whole).first.empty());

  Recording mixed = whole;
  const auto begins = static_cast<std::size_t>(stimulus.sweeps[0].first_frame + lag + 30'000);
  for (std::size_t n = begins; n < mixed.loopback.size(); ++n) {
    mixed.loopback[n] += 0.02F * static_cast<float>(std::sin(0.02 * static_cast<double>(n)));  // 153 Hz, -16 dB
  }
  const auto [words, at] = said_of(stimulus, mixed);
  CHECK(words.find("something else plays") != std::string::npos);
  CHECK(at < begins + 48'000);  // a second: the gap after this sweep is 1.6 s away

  for (const std::size_t lost : {std::size_t{1}, std::size_t{64}, std::size_t{1024}}) {
    Recording shorter = whole;
    drop(shorter, begins + 20'000, lost);
    CHECK(said_of(stimulus, shorter).first.find("something else") == std::string::npos);
  }
}
