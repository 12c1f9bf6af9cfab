#include "ringtrue/live/level_check.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>

#include "live/played.hpp"
#include "rigs.hpp"
#include "ringtrue/live/session.hpp"

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

TEST_CASE("a microphone on the move is seen, one that stands still is not") {
  // 343 m/s at 48 kHz: 1.4 frames a centimetre. A burst of each speaker comes every 0.2 s.
  const Rig rig = simple_rig(2);
  const LevelCheckPlan plan = plan_level_check(rig, {0, 1}, Decibels{-18.0});
  const Recording still = played(plan.stimulus, rig, 700, 0.25F, 1e-5F);
  CHECK(!microphone_moves(judge_level_check(plan, still)));
  CHECK(!microphone_moves(judge_level_check(plan, played(plan.stimulus, rig, 700, 0.02F, 1e-4F))));
  for (const double speed_m_s : {0.01, 0.1, 0.5}) {
    CAPTURE(speed_m_s);
    Recording moving = still;
    for (std::size_t n = 0; n < moving.microphone.size(); ++n) {
      const double at = static_cast<double>(n) * (1.0 - speed_m_s / 343.0);
      const auto k = static_cast<std::size_t>(at);
      const auto part = static_cast<float>(at - std::floor(at));
      moving.microphone[n] = still.microphone[k] + part * (still.microphone[std::min(n, k + 1)] - still.microphone[k]);
    }
    CHECK(microphone_moves(judge_level_check(plan, moving)) == (speed_m_s > 0.05));
  }
}

TEST_CASE("the predicted level is what the louder speaker gives, weighted at its most") {
  // A microphone of a quarter: a sine of -20 dBFS peak is heard at -35.05 dB rms; full scale 120 dB SPL: 84.95 dB, and
  // at most 1.3 dB more by A weighting (weighting.csv: 2.5 kHz).
  Rig rig = simple_rig(2);
  const LevelCheckPlan plan = plan_level_check(rig, {0, 1}, Decibels{-18.0});
  const LevelCheck check = judge_level_check(plan, played(plan.stimulus, rig, 700, 0.25F, 1e-5F));
  CHECK(!predicted_dba(rig, check, -20.0));
  rig.microphone.full_scale_spl_db = 120.0;
  CHECK(std::abs(*predicted_dba(rig, check, -20.0) - (84.95 + 1.3)) < 2.0);  // the bursts' fades take up to 2 dB
}
