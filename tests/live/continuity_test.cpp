#include "ringtrue/live/continuity.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>

#include "live/played.hpp"
#include "rigs.hpp"

using namespace ringtrue;
using namespace ringtrue::test;

namespace {

const Rig rig = simple_rig(3);

Stimulus quick_stimulus() {
  StimulusOptions options;
  options.main_sweep = Seconds{0.6};
  options.decay = Seconds{0.3};
  return plan_stimulus(rig, options);
}

std::vector<std::size_t> spoiled_sweeps(const Continuity& found) {
  std::vector<std::size_t> result;
  for (std::size_t i = 0; i < found.spoiled.size(); ++i) {
    if (found.spoiled[i]) result.push_back(i);
  }
  return result;
}

std::size_t middle_of(const Stimulus& stimulus, std::size_t sweep, std::int64_t lag) {
  const auto& shape = stimulus.shapes[stimulus.sweeps[sweep].shape];
  return static_cast<std::size_t>(stimulus.sweeps[sweep].first_frame + lag + std::ssize(shape.samples) / 2);
}

}  // namespace

TEST_CASE("a loopback in which nothing was lost is whole, at its lag, noisy or not") {
  const Stimulus stimulus = quick_stimulus();
  for (const float noise : {0.0F, 1e-5F, 1e-3F}) {
    CAPTURE(noise);
    Recording recording = played(stimulus, rig, 1'234, 1.0F, noise);
    const Continuity found = judge_continuity(stimulus, noise > 0.0F ? recording.microphone : recording.loopback);
    CHECK(found.verdict == Continuity::Verdict::whole);
    CHECK(found.usual_lag == 1'234);
    CHECK(found.gain_spread_db < 0.1);
  }
}

TEST_CASE("one lost frame spoils the sweep it was lost in and no other") {
  const Stimulus stimulus = quick_stimulus();
  for (const std::size_t frames : {1U, 64U, 1024U}) {
    CAPTURE(frames);
    Recording recording = played(stimulus, rig, 500);
    drop(recording, middle_of(stimulus, 2, 500), frames);
    const Continuity found = judge_continuity(stimulus, recording.loopback);
    CHECK(found.verdict == Continuity::Verdict::spoiled);
    CHECK(spoiled_sweeps(found) == std::vector<std::size_t>{2});
    CHECK(found.lags[4] == 500 - static_cast<std::int64_t>(frames));
  }
}

TEST_CASE("a buffer that is repeated or zero spoils its sweep") {
  const Stimulus stimulus = quick_stimulus();
  const Recording whole = played(stimulus, rig, 500);
  const std::size_t at = middle_of(stimulus, 3, 500);
  Recording zeroed = whole;
  std::fill_n(zeroed.loopback.begin() + static_cast<std::ptrdiff_t>(at), 256, 0.0F);
  CHECK(spoiled_sweeps(judge_continuity(stimulus, zeroed.loopback)) == std::vector<std::size_t>{3});
  Recording repeated = whole;
  std::copy_n(whole.loopback.begin() + static_cast<std::ptrdiff_t>(at), 256,
              repeated.loopback.begin() + static_cast<std::ptrdiff_t>(at + 256));
  CHECK(spoiled_sweeps(judge_continuity(stimulus, repeated.loopback)) == std::vector<std::size_t>{3});
}

TEST_CASE("sweeps played again repair a recording to the last sample") {
  const Stimulus stimulus = quick_stimulus();
  const Recording whole = played(stimulus, rig, 500);
  Recording recording = whole;
  drop(recording, middle_of(stimulus, 1, 500), 64);
  const Continuity found = judge_continuity(stimulus, recording.loopback);
  Recording repaired = put_in_step(stimulus, recording, found.lags, found.usual_lag);
  const std::vector<std::size_t> chosen = spoiled_sweeps(found);
  const Stimulus part = stimulus_of(stimulus, chosen);
  CHECK(part.sweeps.size() == 1);
  const Recording again = played(part, rig, 700);  // as if the stream had been opened anew
  splice(stimulus, chosen, part, again, judge_continuity(part, again.loopback).lags, found.usual_lag, repaired);
  const Continuity now = judge_continuity(stimulus, repaired.loopback);
  CHECK(now.verdict == Continuity::Verdict::whole);
  // All that was played is there; only the end may lack what the drop took from the recording.
  const std::int64_t shift = found.usual_lag - 500;
  for (std::int64_t n = 0; n < stimulus.frames - 2'000; ++n) {
    REQUIRE(repaired.loopback[static_cast<std::size_t>(n + std::min<std::int64_t>(shift, 0) + 64)] ==
            whole.loopback[static_cast<std::size_t>(n - std::max<std::int64_t>(shift, 0) + 64)]);
  }
}

TEST_CASE("two clocks show as a slope, another gain as a spread, noise alone as nothing heard") {
  const Stimulus stimulus = quick_stimulus();
  const Recording whole = played(stimulus, rig, 500);
  std::vector<float> drifting;  // 1000 ppm by taking every thousandth frame out
  for (std::size_t n = 0; n < whole.loopback.size(); ++n) {
    if (n % 1'000 != 0) drifting.push_back(whole.loopback[n]);
  }
  drifting.resize(whole.loopback.size());
  const Continuity clocks = judge_continuity(stimulus, drifting);
  CHECK(clocks.verdict == Continuity::Verdict::two_clocks);
  CHECK(std::abs(clocks.drift_ppm + 1'000.0) < 30.0);

  std::vector<float> louder = whole.loopback;  // from the fourth sweep on, by 1 dB
  for (auto n = static_cast<std::size_t>(stimulus.sweeps[3].first_frame); n < louder.size(); ++n) louder[n] *= 1.122F;
  CHECK(std::abs(judge_continuity(stimulus, louder).gain_spread_db - 1.0) < 0.01);

  const Recording noise = played(stimulus, rig, 500, 0.0F, 0.1F);
  CHECK(judge_continuity(stimulus, noise.microphone).verdict == Continuity::Verdict::unheard);
}

TEST_CASE("a microphone tells how much later a sweep came, where the two are alike") {
  const Stimulus stimulus = quick_stimulus();
  const Recording one = played(stimulus, rig, 500, 0.3F, 1e-4F, 1);
  const Recording other = played(stimulus, rig, 617, 0.3F, 1e-4F, 2);
  const auto lag = lag_between(stimulus, 0, other, stimulus, 0, one);
  REQUIRE(lag);
  CHECK(*lag == 117);
  const Recording noise = played(stimulus, rig, 500, 0.0F, 0.1F);
  CHECK(!lag_between(stimulus, 0, noise, stimulus, 0, one));
}
