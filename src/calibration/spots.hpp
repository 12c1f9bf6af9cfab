#pragma once

#include <optional>
#include <span>
#include <vector>

#include "ringtrue/calibration/calibration.hpp"
#include "ringtrue/response/measurement.hpp"

namespace ringtrue {

/// What the mic positions say about each other.
struct SpotCheck {
  // Where the mic stood at each position, from the ear point: as the rig says, or as another position of it when
  // recordings were handed over in another order. Empty: elsewhere.
  std::vector<std::optional<Point>> stood;
  Findings findings;
};

/// Compares the positions with the first one:
///   - `spot-differs` where all mains together, or one main, come out louder or quieter than they should, and
///     `silent-output` where a speaker is heard at some positions only;
///   - `spot-misplaced` where arrivals say that the mic stood elsewhere, or that recordings are in the wrong order.
/// A mic that was moved by d hears a speaker in direction u earlier by u.d / c. With the layout's nominal directions u
/// the move follows from least squares over the mains, outliers (crossed outputs) weighted down.
[[nodiscard]] SpotCheck check_spots(const Rig& rig, std::span<const PositionMeasurement> positions);

}  // namespace ringtrue
