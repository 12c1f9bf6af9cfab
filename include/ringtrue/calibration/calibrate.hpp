#pragma once

#include <span>

#include "ringtrue/calibration/calibration.hpp"
#include "ringtrue/response/measurement.hpp"

namespace ringtrue {

/// From measurements at one or more mic positions (in the rig's order, the listening position first) to settings:
/// delays, trims and polarity, rounded to the interface's steps, with findings. Pure.
/// @throws InvalidInput  when `positions` is empty
[[nodiscard]] Calibration calibrate(const Rig& rig, std::span<const PositionMeasurement> positions);

}  // namespace ringtrue
