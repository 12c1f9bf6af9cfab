#pragma once

#include <optional>
#include <span>
#include <vector>

#include "ringtrue/core/geometry.hpp"
#include "ringtrue/core/units.hpp"
#include "ringtrue/rig/layout.hpp"

namespace ringtrue {

/// When a speaker's direct sound came to a mic spot.
struct SpotArrival {
  double ms = 0.0;
  double uncertainty_ms = 0.0;  // one standard deviation
};

/// Arrivals of one speaker at every mic spot, in the spots' order; empty where it was not measured.
using SpotArrivals = std::vector<std::optional<SpotArrival>>;

/// Where a speaker was found. Uncertainties are one standard deviation, mic spots' own errors included.
struct Located {
  Point place;                             // from the ear point
  double direction_uncertainty_deg = 0.0;  // per axis
  double distance_uncertainty_m = 0.0;
};

/// A distance taken by tape from the ear point to a speaker.
struct TapedDistance {
  std::size_t speaker = 0;
  double distance_m = 0.0;
};

struct LocateOptions {
  bool absolute_time = false;        // arrivals are times of flight; otherwise each spot has its own unknown offset
  bool solve_speed = false;          // the speed of sound is unknown, too; needs five spots or more
  std::vector<TapedDistance> taped;  // with absolute time: takes out what all speakers' own latency adds
  std::vector<std::optional<AngleRange>> allowed;  // where each speaker may stand; empty: nominal directions alone
  double typical_distance_m = 2.0;                 // where distances are looked for when nothing else tells them
};

struct Locations {
  std::vector<std::optional<Located>> speakers;  // empty where one could not be located
  std::vector<Point> spot_error_m;               // where each mic spot seems to be against where it should; per spot
  std::vector<double> offset_m;                  // to add to speed x arrival for a distance; per spot
  double spot_uncertainty_m = 0.0;               // how far the spots seem to be off, one standard deviation per axis
  double speed_m_s = 0.0;                        // of sound, as used
  bool speed_solved = false;
};

/// Finds speakers from arrivals at four or more mic spots that do not lie in one plane.
///
/// All speakers and all spots' own errors together are the most probable ones for what was measured: least squares of
/// |s - m_p - e_p| + b_p against c t_p (b_p = 0 with absolute time), of the spots' errors e_p against how far spots are
/// usually off, and of the directions against those of the layout, all with heavy tails so that a spot or a speaker in
/// a wrong place does not pull. How far the spots are off, and how near the ring is to the layout, is judged from the
/// data (docs/placement.md). Crossed outputs do not disturb: a speaker is compared with the place it stands in.
///
/// @param speakers  one entry a speaker
/// @param spots     where the mic should have been, from the ear point
/// @param nominal   where each speaker belongs; empty where that is not known
/// @returns nothing located when the spots lie in one plane, or, without absolute time, fewer than two speakers have a
///          nominal place
[[nodiscard]] Locations locate(std::span<const SpotArrivals> speakers, std::span<const Point> spots,
                               std::span<const std::optional<Direction>> nominal, MetresPerSecond speed,
                               const LocateOptions& options = {});

}  // namespace ringtrue
