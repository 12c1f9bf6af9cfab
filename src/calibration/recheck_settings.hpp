#pragma once

#include <span>
#include <vector>

#include "ringtrue/calibration/recheck.hpp"

namespace ringtrue {

/// Gives the named speakers new settings that fit the others' old ones, moving the others only where a named one cannot
/// be set otherwise. `result.calibration` holds the new measures, and the old settings everywhere.
/// @param fresh      the same measurement calibrated as a whole
/// @param positions  old responses, the named speakers' new
void renew_settings(const Calibration& fresh, std::span<const PositionMeasurement> positions,
                    std::span<const std::size_t> named, Recheck& result);

}  // namespace ringtrue
