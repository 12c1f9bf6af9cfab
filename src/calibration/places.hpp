#pragma once

#include <optional>
#include <span>
#include <vector>

#include "ringtrue/calibration/calibrate.hpp"
#include "ringtrue/calibration/calibration.hpp"
#include "ringtrue/response/measurement.hpp"

namespace ringtrue {

/// Locates the mains from four or more mic spots, fills in their places and distances, and adds what stands in the
/// wrong place. A taped distance gives distances at the listening position from one spot already.
/// @param stood  where the mic was at each position, from the ear point; those of which it is not known are left out
/// @throws InvalidInput  for a taped distance of a speaker that the rig does not have, or of a sub
/// @returns whether the wiring was proven: every main that was heard was located and judged
bool set_places(const Rig& rig, std::span<const PositionMeasurement> positions,
                std::span<const std::optional<Point>> stood, std::span<const KnownDistance> known_distances,
                Calibration& calibration);

}  // namespace ringtrue
