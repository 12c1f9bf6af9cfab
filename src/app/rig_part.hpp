#pragma once

#include <string>
#include <vector>

#include "ringtrue/response/measurement.hpp"
#include "ringtrue/rig/rig.hpp"

namespace ringtrue::app {

/// The rig with some of its speakers only, in its order; no labels: all of it.
/// @throws InvalidInput  for a label that the rig does not have
[[nodiscard]] Rig part_of(const Rig& rig, const std::vector<std::string>& labels, const char* option);

/// Measurements of a part of a rig in the whole rig's order; speakers that were not played are not heard.
[[nodiscard]] std::vector<PositionMeasurement> in_order_of(const Rig& whole, const Rig& part,
                                                           std::vector<PositionMeasurement> measurements);

}  // namespace ringtrue::app
