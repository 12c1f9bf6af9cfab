#pragma once

#include "ringtrue/response/measurement.hpp"

namespace ringtrue {

/// Mains that play only bass, and subs that play what mains play: `swapped-outputs` where the two go together,
/// `bass-only` and `full-range-sub` where one stands alone. Those it names are no longer `trusted`, but for the last,
/// which proves nothing alone.
void find_crossed_bass(const Rig& rig, PositionMeasurement& measurement);

}  // namespace ringtrue
