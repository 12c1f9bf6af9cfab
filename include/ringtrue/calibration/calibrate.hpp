#pragma once

#include <span>
#include <string>
#include <vector>

#include "ringtrue/calibration/calibration.hpp"
#include "ringtrue/response/measurement.hpp"

namespace ringtrue {

/// A distance taken by tape, from the ear point to a main's acoustic centre (about the tweeter).
struct KnownDistance {
  std::string label;
  double distance_m = 0.0;
};

struct CalibrateOptions {
  bool suggest_crossover = false;                // try other crossover frequencies too
  std::vector<KnownDistance> known_distances{};  // each gives the absolute time, also without a loopback
};

/// From measurements at one or more mic positions (in the rig's order, the listening position first) to settings:
/// delays, trims and polarity, rounded to the interface's steps, with findings. With bass management the sub's delay
/// and polarity are those for which it adds up best with the mains (docs/bass.md). Pure.
/// @throws InvalidInput  when `positions` is empty
[[nodiscard]] Calibration calibrate(const Rig& rig, std::span<const PositionMeasurement> positions,
                                    const CalibrateOptions& options = {});

}  // namespace ringtrue
