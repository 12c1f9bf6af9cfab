#pragma once

#include "ringtrue/response/measurement.hpp"

namespace ringtrue {

/// Mains that play only bass: `swapped-outputs` with a sub that plays what mains play, or else `bass-only`. Those it
/// names are no longer `trusted`.
void find_crossed_bass(const Rig& rig, PositionMeasurement& measurement);

}  // namespace ringtrue
