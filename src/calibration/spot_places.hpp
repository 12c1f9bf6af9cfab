#pragma once

#include <optional>
#include <span>

#include "spots.hpp"

namespace ringtrue {

/// Where a speaker should be, seen from the ear point, in metres; empty where the layout does not say. Its distance is
/// the measured one when `first` has absolute times.
[[nodiscard]] std::optional<Point> nominal_place(const Rig& rig, const PositionMeasurement& first, std::size_t s);

/// Adds `spot-misplaced` where arrivals say that the mic stood elsewhere or that recordings are in the wrong order, and
/// corrects where it `stood`.
void find_misplaced_spots(const Rig& rig, std::span<const PositionMeasurement> positions, SpotCheck& check);

}  // namespace ringtrue
