#pragma once

#include <optional>
#include <span>
#include <vector>

#include "ringtrue/calibration/calibration.hpp"
#include "ringtrue/response/measurement.hpp"

namespace ringtrue {

struct CalibrateOptions {
  bool suggest_crossover = false;  // try other crossover frequencies too
  /// Those the interface offers, ascending, 20 to 500 Hz; empty: 40, 50, ... 200 Hz.
  std::vector<double> crossovers_hz{};
  /// Sound pressure level at which the microphone's channel has an rms of 1.0 (a full-scale sine has -3.01 dB of that);
  /// empty: not level-calibrated, and then the background noise has no rating.
  std::optional<double> full_scale_db_spl{};
};

/// From measurements at one or more mic positions (in the rig's order, the listening position first) to settings:
/// delays, trims and polarity, rounded to the interface's steps, with findings. With bass management the sub's delay
/// and polarity are those for which it adds up best with the mains (docs/bass.md). Pure.
/// @throws InvalidInput  when `positions` is empty
[[nodiscard]] Calibration calibrate(const Rig& rig, std::span<const PositionMeasurement> positions,
                                    const CalibrateOptions& options = {});

}  // namespace ringtrue
