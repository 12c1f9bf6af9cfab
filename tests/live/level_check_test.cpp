#include "ringtrue/live/level_check.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>

#include "live/played.hpp"
#include "rigs.hpp"

using namespace ringtrue;
using namespace ringtrue::test;

TEST_CASE("the bursts rise to the limit and never above it") {
  const Rig rig = simple_rig(2);
  const LevelCheckPlan plan = plan_level_check(rig, {0, 1}, Decibels{-20.0});
  double loudest = 0.0;
  double before = 0.0;
  for (const ScheduledSweep& burst : plan.stimulus.sweeps) {
    double peak = 0.0;
    for (const double sample : plan.stimulus.shapes[burst.shape].samples) peak = std::max(peak, std::abs(sample));
    CHECK(peak >= before * 0.99);
    before = peak;
    loudest = std::max(loudest, peak);
  }
  CHECK(loudest <= std::pow(10.0, -1.0) * 1.0000001);  // -20 dBFS
  CHECK(loudest > std::pow(10.0, -1.0) * 0.97);
}

TEST_CASE("a level check finds the noise, the lag and both speakers") {
  const Rig rig = simple_rig(2);
  const LevelCheckPlan plan = plan_level_check(rig, {0, 1}, Decibels{-18.0});
  const Recording recording = played(plan.stimulus, rig, 1'500, 0.25F, 1e-4F);
  const LevelCheck check = judge_level_check(plan, recording);
  CHECK(check.heard == std::vector<bool>{true, true});
  CHECK(check.loopback_lag == 1'500);
  CHECK(std::abs(check.loopback_gain - 1.0) < 0.01);
  // White noise of -80 dBFS has 1500 Hz of its 24 kHz in the band: -80 - 12.04 dB. Half of 0.4 octave each side is lost
  // to the soft edges (135 Hz below, 490 Hz above, 5/8 of their power): another 1 to 2 dB.
  CHECK(check.noise_dbfs < -92.04);
  CHECK(check.noise_dbfs > -95.0);
  // A sine's rms is 3.01 dB below its peak; the fades take a little more.
  REQUIRE(check.heard_db);
  CHECK(*check.heard_db > 20.0 * std::log10(0.25) - 5.5);
  CHECK(*check.heard_db < 20.0 * std::log10(0.25) - 3.0);
  CHECK(check.linearity_db < 0.3);
  // -92 + 60 = -32 dB at the microphone: heard_db is about -16, so -16 dBFS would be wanted: the limit stands.
  CHECK(level_for_sweeps(plan, check)->value() == -18.0);
}

TEST_CASE("a good microphone close by makes the sweeps quieter, never louder than the limit") {
  const Rig rig = simple_rig(2);
  const LevelCheckPlan plan = plan_level_check(rig, {0, 1}, Decibels{-18.0});
  const LevelCheck check = judge_level_check(plan, played(plan.stimulus, rig, 700, 1.0F, 1e-6F));
  CHECK(level_for_sweeps(plan, check)->value() < -18.0);
}

TEST_CASE("silence, a muted microphone and a limiter are seen") {
  const Rig rig = simple_rig(2);
  const LevelCheckPlan plan = plan_level_check(rig, {0, 1}, Decibels{-18.0});
  Recording nothing = played(plan.stimulus, rig, 700, 0.0F, 1e-4F);
  CHECK(judge_level_check(plan, nothing).heard == std::vector<bool>{false, false});
  CHECK(!judge_level_check(plan, nothing).microphone_exact_zero);
  std::ranges::fill(nothing.microphone, 0.0F);
  CHECK(judge_level_check(plan, nothing).microphone_exact_zero);
  CHECK(!judge_level_check(plan, nothing).loopback_exact_zero);

  Recording limited = played(plan.stimulus, rig, 700, 1.0F, 1e-5F);
  for (float& sample : limited.microphone) sample = std::tanh(8.0F * sample) / 8.0F;
  CHECK(judge_level_check(plan, limited).linearity_db > 0.3);
}
