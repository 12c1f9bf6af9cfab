#pragma once

#include <optional>
#include <span>
#include <vector>

#include "ringtrue/core/geometry.hpp"
#include "ringtrue/core/units.hpp"

namespace ringtrue {

/// Arrivals of one speaker at every mic spot, in the spots' order; empty where it was not measured.
using SpotArrivals = std::vector<std::optional<double>>;  // ms

/// Where a speaker was found.
struct Located {
  Point place;                             // from the ear point
  double direction_uncertainty_deg = 0.0;  // one standard deviation, mic spots' own errors included
  double distance_uncertainty_m = 0.0;
};

struct LocateOptions {
  bool absolute_time = false;        // arrivals are times of flight; otherwise each spot has its own unknown offset
  double spot_uncertainty_m = 0.01;  // how well the mic was put in its place
  double typical_distance_m = 2.0;   // without absolute time the distance is hardly seen: where it is looked for
};

/// Finds speakers from arrivals at four or more mic spots that do not lie in one plane.
///
/// Least squares of |s - m_p| + b_p against c t_p over all speakers and spots together (b_p = 0 with absolute time),
/// by Levenberg-Marquardt from the linear solution of docs/placement.md (ranges), or from the plane-wave solution with
/// the mean of `nominal` directions (which crossed outputs do not change). Residuals beyond four standard deviations
/// are left out once. Uncertainty from the covariance of the solution, scaled up where the residuals ask for it.
///
/// @param nominal  directions the set of speakers should have, any order; may be empty with absolute time
/// @returns one entry a speaker, empty where it could not be located; all empty when the spots lie in one plane
[[nodiscard]] std::vector<std::optional<Located>> locate(std::span<const SpotArrivals> speakers,
                                                         std::span<const Point> spots,
                                                         std::span<const Direction> nominal, MetresPerSecond speed,
                                                         const LocateOptions& options);

}  // namespace ringtrue
