#pragma once

#include <array>
#include <cstddef>
#include <optional>
#include <span>
#include <vector>

#include "ringtrue/capture/recording.hpp"
#include "ringtrue/core/units.hpp"
#include "ringtrue/stimulus/stimulus.hpp"

namespace ringtrue {

/// The first sound of every take: half a second of silence, then bursts on one or two speakers by turns, rising in
/// steps until the microphone hears enough; band-limited (500 Hz-2 kHz, a sub 40-100 Hz), with fades, each a tenth of a
/// second long.
struct LevelCheckPlan {
  static constexpr std::size_t steps = 5;
  static constexpr double step_db = 8.0;

  Stimulus stimulus;
  std::vector<std::size_t> speakers;       // indices into the rig, one or two
  std::array<double, steps> peaks_dbfs{};  // ascending; the last one is the limit
  std::int64_t quiet_frames = 0;           // of silence before the first burst
};

/// @param speakers  one or two, of the rig  @param limit  dBFS peak: the loudest step
[[nodiscard]] LevelCheckPlan plan_level_check(const Rig& rig, std::vector<std::size_t> speakers, Decibels limit);

/// What the microphone heard of it.
struct LevelCheck {
  double noise_dbfs = -200.0;           // rms in the burst's band while nothing played
  double loopback_noise_dbfs = -200.0;  // rms, whole band
  double limit_dbfs = 0.0;              // peak: the outputs are cut off there
  bool microphone_exact_zero = false;   // every sample of it, from first to last
  bool microphone_quiet_zero = false;   // exact zeros while nothing played: no converter is that quiet
  bool loopback_exact_zero = false;
  std::optional<double> heard_db;          // microphone rms over burst peak, dB, of the quieter speaker that is heard
  std::optional<double> loudest_heard_db;  // the same of the louder speaker
  double unlike_db = -200.0;  // how far the bursts of one speaker differ in shape: a microphone on the move
  std::vector<bool> heard;    // for each of the plan's speakers
  std::optional<std::int64_t> loopback_lag;  // frames from output to loopback input
  double loopback_gain = 0.0;
  double linearity_db = 0.0;     // what the gain differs by between the steps that stand well over the noise
  double peak_dbfs = -200.0;     // of the microphone, over everything
  std::size_t loudest_step = 0;  // that is in the recording
};

/// @param recording  may end early: steps that are not in it do not count
[[nodiscard]] LevelCheck judge_level_check(const LevelCheckPlan& plan, const Recording& recording);

/// The peak level for the sweeps: the lowest step at which the microphone hears 60 dB more than its noise, else the
/// limit; lower where the microphone would come within 6 dB of clipping. Empty: even the lowest step is too loud.
[[nodiscard]] std::optional<Decibels> level_for_sweeps(const LevelCheckPlan& plan, const LevelCheck& check);

}  // namespace ringtrue
