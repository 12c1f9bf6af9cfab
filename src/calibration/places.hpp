#pragma once

#include <span>
#include <vector>

#include "ringtrue/calibration/calibration.hpp"
#include "ringtrue/response/measurement.hpp"

namespace ringtrue {

/// Locates the mains from four or more mic spots, fills in their places where the distance is known as well, and adds
/// what stands in the wrong place. Does nothing with fewer spots.
/// @param in_place  by position: false for those whose mic stood elsewhere; they are left out
/// @returns whether the wiring was proven: every main that was heard was located and judged
bool set_places(const Rig& rig, std::span<const PositionMeasurement> positions, const std::vector<bool>& in_place,
                Calibration& calibration);

}  // namespace ringtrue
