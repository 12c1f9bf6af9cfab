#pragma once

#include <optional>
#include <span>
#include <string>
#include <vector>

#include "ringtrue/calibration/calibration.hpp"
#include "ringtrue/correction/target.hpp"
#include "ringtrue/response/measurement.hpp"

namespace ringtrue {

struct CorrectionOptions {
  bool equaliser = true;                // where the interface has one
  TargetCurve target;                   // of all mains and subs
  std::optional<double> transition_hz;  // 50 to 1000 Hz; empty: from the room's decay time and volume
  std::optional<double> low_end_hz;     // flat down to here; empty: as far as each speaker reaches by itself
  int fir_taps = 0;                     // 256 to 65536: finite impulse responses in place of the filters; 0: none
  bool fir_mixed_phase = false;         // also undo the crossovers' phase, with bounded pre-ringing
  unsigned threads = 0;                 // 0: one per core; the result does not depend on it
};

/// A distance taken by tape, from the ear point to a main's acoustic centre (about the tweeter).
struct KnownDistance {
  std::string label;
  double distance_m = 0.0;
};

struct CalibrateOptions {
  bool suggest_crossover = false;  // try other crossover frequencies too
  /// Those the interface offers, ascending, 20 to 500 Hz; empty: 40, 50, ... 200 Hz.
  std::vector<double> crossovers_hz{};
  CorrectionOptions correction{};
  std::vector<KnownDistance> known_distances{};  // each gives the absolute time, also without a loopback
  /// Sound pressure level at which the microphone's channel has an rms of 1.0 (a full-scale sine has -3.01 dB of that);
  /// empty: the rig's own, and where that has none either, the background noise has no rating.
  std::optional<double> full_scale_db_spl{};
};

/// From measurements at one or more mic positions (in the rig's order, the listening position first) to settings:
/// delays, trims and polarity, rounded to the interface's steps, with findings. With bass management the sub's delay
/// and polarity are those for which it adds up best with the mains (docs/bass.md). Pure.
/// @throws InvalidInput  when `positions` is empty
[[nodiscard]] Calibration calibrate(const Rig& rig, std::span<const PositionMeasurement> positions,
                                    const CalibrateOptions& options = {});

}  // namespace ringtrue
