#pragma once

#include <span>

#include "ringtrue/calibration/calibration.hpp"
#include "ringtrue/response/measurement.hpp"

namespace ringtrue {

/// Adds `full-range-sub` for subs that sound like a main speaker, by the mean over the mic positions: a `warn` where no
/// sub is known to, a `note` where a small one may. Subs that are spoilt otherwise are passed over.
void find_full_range_subs(const Rig& rig, std::span<const PositionMeasurement> positions, Calibration& calibration);

}  // namespace ringtrue
