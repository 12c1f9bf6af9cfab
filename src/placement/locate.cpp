#include "ringtrue/placement/locate.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <numbers>

namespace ringtrue {
namespace {

using Vector3 = Eigen::Vector3d;

constexpr std::size_t fewest_spots = 4;
constexpr double timing_uncertainty_m = 0.002;  // 6 us: what crossovers and tweeters differ by

Vector3 as_vector(Point p) { return {p.x, p.y, p.z}; }
Point as_point(const Vector3& v) { return {v.x(), v.y(), v.z()}; }

/// One measured range: speaker, spot, metres.
struct Range {
  Eigen::Index speaker;
  Eigen::Index spot;
  double range_m;
};

/// Everything the least squares needs; unknowns are three coordinates a speaker, then one offset a spot.
struct Problem {
  std::vector<Range> ranges;
  std::vector<Vector3> spots;
  Eigen::Index speakers = 0;
  bool offsets = false;  // unknown offsets of the spots
  double sigma_m = 0.01;
  double typical_distance_m = 2.0;

  [[nodiscard]] Eigen::Index unknowns() const {
    return 3 * speakers + (offsets ? static_cast<Eigen::Index>(spots.size()) : 0);
  }
};

/// Residuals in standard deviations, and their derivatives.
void linearise(const Problem& problem, const Eigen::VectorXd& x, Eigen::VectorXd& residual, Eigen::MatrixXd& slope) {
  constexpr double distance_prior_m = 0.7;  // the ring's radius, where nothing else says it
  const auto rows = static_cast<Eigen::Index>(problem.ranges.size());
  const Eigen::Index priors = problem.offsets ? problem.speakers : 0;
  residual.setZero(rows + priors);
  slope.setZero(rows + priors, x.size());
  for (Eigen::Index r = 0; r < rows; ++r) {
    const Range& range = problem.ranges[static_cast<std::size_t>(r)];
    const Vector3 from = x.segment<3>(3 * range.speaker) - problem.spots[static_cast<std::size_t>(range.spot)];
    const double distance = std::max(from.norm(), 1e-6);
    const Eigen::Index offset = 3 * problem.speakers + range.spot;
    residual[r] = (distance + (problem.offsets ? x[offset] : 0.0) - range.range_m) / problem.sigma_m;
    slope.block<1, 3>(r, 3 * range.speaker) = from.transpose() / (distance * problem.sigma_m);
    if (problem.offsets) slope(r, offset) = 1.0 / problem.sigma_m;
  }
  for (Eigen::Index s = 0; s < priors; ++s) {
    const Vector3 place = x.segment<3>(3 * s);
    const double distance = std::max(place.norm(), 1e-6);
    residual[rows + s] = (distance - problem.typical_distance_m) / distance_prior_m;
    slope.block<1, 3>(rows + s, 3 * s) = place.transpose() / (distance * distance_prior_m);
  }
}

/// Levenberg-Marquardt from x; returns the covariance of the unknowns.
Eigen::MatrixXd solve(const Problem& problem, Eigen::VectorXd& x) {
  Eigen::VectorXd residual;
  Eigen::MatrixXd slope;
  linearise(problem, x, residual, slope);
  double damping = 1e-2;
  for (int round = 0; round < 60; ++round) {
    Eigen::MatrixXd normal = slope.transpose() * slope;
    const Eigen::MatrixXd undamped = normal;
    normal.diagonal() += damping * (undamped.diagonal().array() + 1e-9).matrix();
    const Eigen::VectorXd step = normal.ldlt().solve(-slope.transpose() * residual);
    Eigen::VectorXd tried = x + step;
    Eigen::VectorXd tried_residual;
    Eigen::MatrixXd tried_slope;
    linearise(problem, tried, tried_residual, tried_slope);
    if (tried_residual.squaredNorm() < residual.squaredNorm()) {
      x = tried;
      residual = tried_residual;
      slope = tried_slope;
      damping = std::max(1e-9, 0.3 * damping);
      if (step.norm() < 1e-9) break;
    } else {
      damping *= 5.0;
      if (damping > 1e9) break;
    }
  }
  Eigen::MatrixXd normal = slope.transpose() * slope;
  normal.diagonal().array() += 1e-9;
  const double degrees = std::max(1.0, static_cast<double>(residual.size() - x.size()));
  const double scale = std::max(1.0, residual.squaredNorm() / degrees);
  return normal.inverse() * scale;
}

/// Leaves out ranges that lie more than four standard deviations off; true when there were any.
bool drop_outliers(Problem& problem, const Eigen::VectorXd& x) {
  constexpr double too_far = 4.0;
  Eigen::VectorXd residual;
  Eigen::MatrixXd slope;
  linearise(problem, x, residual, slope);
  std::vector<Range> kept;
  for (std::size_t r = 0; r < problem.ranges.size(); ++r) {
    if (std::abs(residual[static_cast<Eigen::Index>(r)]) <= too_far) kept.push_back(problem.ranges[r]);
  }
  if (kept.size() == problem.ranges.size() || kept.size() < static_cast<std::size_t>(problem.unknowns())) return false;
  problem.ranges = std::move(kept);
  return true;
}

/// Start from ranges: 2 m.s = |m|^2 - (r^2 - r0^2), linear in s, over the spots against the first.
Vector3 from_ranges(const SpotArrivals& arrivals, std::span<const Vector3> spots, double metres_per_ms) {
  std::vector<std::size_t> known;
  for (std::size_t p = 0; p < arrivals.size(); ++p) {
    if (arrivals[p]) known.push_back(p);
  }
  const Vector3 origin = spots[known.front()];
  const double r0 = *arrivals[known.front()] * metres_per_ms;
  Eigen::MatrixXd A(static_cast<Eigen::Index>(known.size()) - 1, 3);
  Eigen::VectorXd b(A.rows());
  for (Eigen::Index i = 0; i < A.rows(); ++i) {
    const std::size_t p = known[static_cast<std::size_t>(i) + 1];
    const Vector3 m = spots[p] - origin;
    const double r = *arrivals[p] * metres_per_ms;
    A.row(i) = 2.0 * m.transpose();
    b[i] = m.squaredNorm() - (r * r - r0 * r0);
  }
  const Vector3 s = A.colPivHouseholderQr().solve(b);
  const double length = s.norm();  // the linear solution is rough in distance: keep its direction
  return origin + (length > 1e-6 ? Vector3{s * (r0 / length)} : Vector3{0.0, r0, 0.0});
}

/// Mean of t_p - t_0 over the speakers that have both, ms.
double mean_difference(std::span<const SpotArrivals> speakers, std::size_t spot) {
  double sum = 0.0;
  double count = 0.0;
  for (const SpotArrivals& arrivals : speakers) {
    if (!arrivals[0] || !arrivals[spot]) continue;
    sum += *arrivals[spot] - *arrivals[0];
    count += 1.0;
  }
  return count > 0.0 ? sum / count : 0.0;
}

bool in_one_plane(std::span<const Vector3> spots) {
  constexpr double thinnest_m = 0.03;
  Eigen::MatrixXd offsets(3, static_cast<Eigen::Index>(spots.size()));
  for (std::size_t p = 0; p < spots.size(); ++p) offsets.col(static_cast<Eigen::Index>(p)) = spots[p] - spots[0];
  return offsets.jacobiSvd().singularValues()[2] < thinnest_m;
}

std::size_t known_spots(const SpotArrivals& arrivals) {
  return static_cast<std::size_t>(
      std::ranges::count_if(arrivals, [](const auto& arrival) { return arrival.has_value(); }));
}

Located located(const Vector3& place, const Eigen::Matrix3d& covariance) {
  const double distance = std::max(place.norm(), 1e-3);
  const Vector3 outward = place / distance;
  const double along = std::max(0.0, outward.dot(covariance * outward));
  const double across = std::max(0.0, covariance.trace() - along);
  return {as_point(place), std::sqrt(0.5 * across) / distance * 180.0 / std::numbers::pi, std::sqrt(along)};
}

}  // namespace

std::vector<std::optional<Located>> locate(std::span<const SpotArrivals> speakers, std::span<const Point> spots,
                                           std::span<const Direction> nominal, MetresPerSecond speed,
                                           const LocateOptions& options) {
  std::vector<std::optional<Located>> result(speakers.size());
  Problem problem;
  for (const Point& spot : spots) problem.spots.push_back(as_vector(spot));
  if (spots.size() < fewest_spots || in_one_plane(problem.spots)) return result;
  problem.offsets = !options.absolute_time;
  problem.sigma_m = std::hypot(options.spot_uncertainty_m, timing_uncertainty_m);
  problem.typical_distance_m = options.typical_distance_m;

  std::vector<std::size_t> usable;
  for (std::size_t s = 0; s < speakers.size(); ++s) {
    const bool enough = known_spots(speakers[s]) >= fewest_spots;
    if (enough && (options.absolute_time || speakers[s][0])) usable.push_back(s);
  }
  constexpr std::size_t fewest_without_time = 4;  // speakers whose directions settle the spots' offsets
  if (usable.empty() || (problem.offsets && usable.size() < fewest_without_time)) return result;
  problem.speakers = std::ssize(usable);

  const double metres_per_ms = speed.value() * 1e-3;
  Vector3 mean_direction = Vector3::Zero();
  for (const Direction& direction : nominal) mean_direction += as_vector(place(direction, 1.0));
  if (!nominal.empty()) mean_direction /= static_cast<double>(nominal.size());

  Eigen::VectorXd x = Eigen::VectorXd::Zero(problem.unknowns());
  std::vector<double> offset_m(spots.size());
  if (problem.offsets) {
    for (std::size_t p = 1; p < spots.size(); ++p) {
      offset_m[p] =
          mean_difference(speakers, p) * metres_per_ms + mean_direction.dot(problem.spots[p] - problem.spots[0]);
    }
  }
  for (std::size_t i = 0; i < usable.size(); ++i) {
    const SpotArrivals& arrivals = speakers[usable[i]];
    const auto column = 3 * static_cast<Eigen::Index>(i);
    if (!problem.offsets) {
      x.segment<3>(column) = from_ranges(arrivals, problem.spots, metres_per_ms);
    } else {
      SpotArrivals plane = arrivals;  // as ranges of a source at the typical distance from the first spot
      for (std::size_t p = 0; p < plane.size(); ++p) {
        if (plane[p]) {
          plane[p] = (options.typical_distance_m + (*arrivals[p] - *arrivals[0]) * metres_per_ms - offset_m[p]) /
                     metres_per_ms;
        }
      }
      x.segment<3>(column) = from_ranges(plane, problem.spots, metres_per_ms);
    }
    for (std::size_t p = 0; p < arrivals.size(); ++p) {
      if (!arrivals[p]) continue;
      problem.ranges.push_back(
          {static_cast<Eigen::Index>(i), static_cast<Eigen::Index>(p), *arrivals[p] * metres_per_ms});
    }
  }
  if (problem.offsets) {  // offsets of the true times: what the first guess of the places leaves, on average
    for (std::size_t p = 0; p < spots.size(); ++p) {
      double sum = 0.0;
      double count = 0.0;
      for (const Range& range : problem.ranges) {
        if (range.spot != static_cast<Eigen::Index>(p)) continue;
        sum += range.range_m - (x.segment<3>(3 * range.speaker) - problem.spots[p]).norm();
        count += 1.0;
      }
      x[3 * problem.speakers + static_cast<Eigen::Index>(p)] = count > 0.0 ? sum / count : 0.0;
    }
  }
  Eigen::MatrixXd covariance = solve(problem, x);
  if (drop_outliers(problem, x)) covariance = solve(problem, x);
  for (std::size_t i = 0; i < usable.size(); ++i) {
    const auto column = 3 * static_cast<Eigen::Index>(i);
    result[usable[i]] = located(x.segment<3>(column), covariance.block<3, 3>(column, column));
  }
  return result;
}

}  // namespace ringtrue
