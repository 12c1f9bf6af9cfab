#pragma once

#include <Eigen/Dense>
#include <optional>
#include <vector>

#include "ringtrue/rig/layout.hpp"

namespace ringtrue::bundle {

using Eigen::Index;
using Eigen::Vector3d;

/// One measured range.
struct Range {
  Index speaker = 0;
  Index spot = 0;
  double range_m = 0.0;
  double sigma_m = 0.001;
};

/// A distance from the ear point that was taken by tape.
struct Taped {
  Index speaker = 0;
  double distance_m = 0.0;
};

/// Where a speaker belongs.
struct Home {
  Vector3d direction;               // unit vector
  std::optional<AngleRange> range;  // where else it may stand
};

/// What the ranges leave open: nothing, one offset for all spots, or one for every spot.
enum class Offsets { none, common, per_spot };

/// Speakers and mic spots that are found together.
/// Unknowns, in this order: a place a speaker, an error a spot, offsets, and the relative error of the speed of sound.
struct Problem {
  std::vector<Range> ranges;
  std::vector<Vector3d> spots;               // where they should be
  std::vector<std::optional<Home>> nominal;  // one a speaker
  std::vector<Taped> taped;
  Offsets offsets = Offsets::none;
  bool solve_speed = false;
  double typical_distance_m = 2.0;

  [[nodiscard]] Index speakers() const { return static_cast<Index>(nominal.size()); }
  [[nodiscard]] Index place(Index speaker) const { return 3 * speaker; }
  [[nodiscard]] Index spot_error(Index spot) const { return 3 * speakers() + 3 * spot; }
  [[nodiscard]] Index first_offset() const { return spot_error(static_cast<Index>(spots.size())); }
  [[nodiscard]] Index offset(Index spot) const { return first_offset() + (offsets == Offsets::per_spot ? spot : 0); }
  [[nodiscard]] Index offset_count() const;
  [[nodiscard]] Index speed() const { return first_offset() + offset_count(); }
  [[nodiscard]] Index unknowns() const { return speed() + (solve_speed ? 1 : 0); }
};

/// How far things are off, one standard deviation: what the data are asked.
struct Spread {
  double spot_m = 0.005;      // of a mic spot, per axis
  double nominal_rad = 0.07;  // of a speaker from its nominal direction or its range, per axis
  bool over_ranges = false;   // anywhere in its range is as likely as another
  double range_scale = 1.0;   // of the ranges, times their own sigma
};

struct Solution {
  Eigen::VectorXd x;
  Eigen::MatrixXd covariance;
  double cost = 0.0;          // minus the logarithm of the posterior
  double log_evidence = 0.0;  // of the spread, Laplace's approximation
};

/// The most probable unknowns for a spread: Levenberg-Marquardt on the robust cost, from `start`.
[[nodiscard]] Solution solve(const Problem& problem, const Spread& spread, const Eigen::VectorXd& start);

}  // namespace ringtrue::bundle
