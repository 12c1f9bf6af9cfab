#include "ringtrue/placement/locate.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "assignment.hpp"
#include "bundle.hpp"
#include "first_guess.hpp"
#include "spread_average.hpp"

namespace ringtrue {
namespace {

using bundle::Index;
using bundle::Offsets;
using bundle::Problem;
using bundle::Solution;
using bundle::Spread;
using Eigen::Vector3d;

constexpr std::size_t fewest_spots = 4;
constexpr std::size_t fewest_spots_for_speed = 5;
constexpr std::size_t fewest_without_time = 2;       // speakers with a nominal place, which settle the spots' offsets
constexpr double least_range_uncertainty_m = 0.001;  // 3 us: what the direct sound differs by from spot to spot

Vector3d as_vector(Point p) { return {p.x, p.y, p.z}; }
Point as_point(const Vector3d& v) { return {v.x(), v.y(), v.z()}; }

bool in_one_plane(std::span<const Point> spots) {
  constexpr double thinnest_m = 0.03;
  Eigen::MatrixXd offsets(3, static_cast<Index>(spots.size()));
  for (std::size_t p = 0; p < spots.size(); ++p) offsets.col(static_cast<Index>(p)) = as_vector(spots[p] - spots[0]);
  return offsets.jacobiSvd().singularValues()[2] < thinnest_m;
}

/// Heard at enough spots, which span a space.
bool can_be_located(const SpotArrivals& arrivals, std::span<const Point> spots, bool needs_first) {
  std::vector<Point> known;
  for (std::size_t p = 0; p < spots.size(); ++p) {
    if (arrivals[p]) known.push_back(spots[p]);
  }
  return known.size() >= fewest_spots && (arrivals[0] || !needs_first) && !in_one_plane(known);
}

Offsets offsets_of(const LocateOptions& options) {
  if (!options.absolute_time) return Offsets::per_spot;
  return options.taped.empty() ? Offsets::none : Offsets::common;
}

void add_speaker(Problem& problem, const SpotArrivals& arrivals, const std::optional<Direction>& nominal,
                 const std::optional<AngleRange>& range, double metres_per_ms) {
  const Index speaker = problem.speakers();
  for (std::size_t p = 0; p < arrivals.size(); ++p) {
    if (!arrivals[p]) continue;
    const double noise_m = arrivals[p]->uncertainty_ms * metres_per_ms;
    problem.ranges.push_back({speaker, static_cast<Index>(p), arrivals[p]->ms * metres_per_ms,
                              std::hypot(noise_m, least_range_uncertainty_m)});
  }
  problem.nominal.push_back(nominal ? std::optional{bundle::Home{as_vector(place(*nominal, 1.0)), range}}
                                    : std::nullopt);
}

/// The same problem with every speaker's nominal direction exchanged for the one of the place it stands in: the least
/// sum of squared angles, each counted up to 30 degrees.
Problem with_places_taken(const Problem& problem, const Eigen::VectorXd& x) {
  constexpr double far_off = 0.27;  // squared chord of 30 degrees
  std::vector<std::size_t> known;
  for (std::size_t s = 0; s < problem.nominal.size(); ++s) {
    if (problem.nominal[s]) known.push_back(s);
  }
  std::vector<std::vector<double>> cost(known.size(), std::vector<double>(known.size()));
  for (std::size_t i = 0; i < known.size(); ++i) {
    const Vector3d direction = x.segment<3>(problem.place(static_cast<Index>(known[i]))).normalized();
    for (std::size_t j = 0; j < known.size(); ++j) {
      cost[i][j] = std::min((direction - problem.nominal[known[j]]->direction).squaredNorm(), far_off);
    }
  }
  Problem taken = problem;
  const std::vector<std::size_t> column = least_assignment(cost);
  for (std::size_t i = 0; i < known.size(); ++i) taken.nominal[known[i]] = problem.nominal[known[column[i]]];
  return taken;
}

/// What the tails' curvature at their top and the average over spreads leave out: tuned on simulated arrivals at four
/// spots that were 0 and 1 cm off, so that two thirds of errors lie within.
constexpr double uncertainty_factor = 1.25;
constexpr double temperature_share = 0.005;  // of a distance: 3 degrees C, where the speed was not solved for
constexpr double least_distance_m = 0.008;   // what a speaker's own treble is late by: 15 to 30 us (docs/placement.md)

Located located(const Vector3d& place, const Eigen::Matrix3d& covariance, bool speed_solved) {
  const double distance = std::max(place.norm(), 1e-3);
  const Vector3d outward = place / distance;
  const double along = std::max(0.0, outward.dot(covariance * outward));
  const double across = std::max(0.0, covariance.trace() - along);
  return {as_point(place), uncertainty_factor * std::sqrt(0.5 * across) / distance * 180.0 / std::numbers::pi,
          std::hypot(uncertainty_factor * std::sqrt(along), speed_solved ? 0.0 : temperature_share * distance,
                     least_distance_m)};
}

/// The better of two starts: the mirror image of a ring in one plane is a trap for either.
Solution best_start(const Problem& problem, const Problem& taken, const Eigen::VectorXd& first) {
  const Spread loose{.spot_m = 0.006, .nominal_rad = 0.1, .range_scale = 2.0};
  Solution from_first = bundle::solve(taken, loose, first);
  Solution from_nominal = bundle::solve(taken, loose, bundle::nominal_guess(problem, first));
  Solution from_taken = bundle::solve(taken, loose, bundle::nominal_guess(taken, first));
  if (from_nominal.cost < from_first.cost) from_first = std::move(from_nominal);
  return from_taken.cost < from_first.cost ? from_taken : from_first;
}

void fill(const Problem& problem, const bundle::Average& average, std::span<const std::size_t> usable, double speed_m_s,
          Locations& result) {
  for (std::size_t i = 0; i < usable.size(); ++i) {
    const Index at = problem.place(static_cast<Index>(i));
    result.speakers[usable[i]] =
        located(average.x.segment<3>(at), average.covariance.block<3, 3>(at, at), problem.solve_speed);
  }
  for (Index p = 0; p < static_cast<Index>(problem.spots.size()); ++p) {
    result.spot_error_m.push_back(as_point(average.x.segment<3>(problem.spot_error(p))));
    result.offset_m.push_back(problem.offsets == Offsets::none ? 0.0 : -average.x[problem.offset(p)]);
  }
  result.spot_uncertainty_m = average.spot_m;
  result.speed_solved = problem.solve_speed;
  if (problem.solve_speed) result.speed_m_s = speed_m_s * (1.0 + average.x[problem.speed()]);
}

}  // namespace

Locations locate(std::span<const SpotArrivals> speakers, std::span<const Point> spots,
                 std::span<const std::optional<Direction>> nominal, MetresPerSecond speed,
                 const LocateOptions& options) {
  Locations result;
  result.speakers.resize(speakers.size());
  result.speed_m_s = speed.value();
  if (spots.size() < fewest_spots || in_one_plane(spots)) return result;

  Problem problem;
  problem.offsets = offsets_of(options);
  problem.solve_speed = options.solve_speed && spots.size() >= fewest_spots_for_speed;
  problem.typical_distance_m = options.typical_distance_m;
  for (const Point& spot : spots) problem.spots.push_back(as_vector(spot));
  std::vector<std::size_t> usable;
  for (std::size_t s = 0; s < speakers.size(); ++s) {
    if (!can_be_located(speakers[s], spots, problem.offsets != Offsets::none)) continue;
    add_speaker(problem, speakers[s], nominal[s], s < options.allowed.size() ? options.allowed[s] : std::nullopt,
                speed.value() * 1e-3);
    for (const TapedDistance& taped : options.taped) {
      if (taped.speaker == s) problem.taped.push_back({static_cast<Index>(usable.size()), taped.distance_m});
    }
    usable.push_back(s);
  }
  const auto known = static_cast<std::size_t>(
      std::ranges::count_if(problem.nominal, [](const auto& direction) { return direction.has_value(); }));
  if (usable.empty() || (problem.offsets == Offsets::per_spot && known < fewest_without_time)) return result;
  if (problem.taped.empty() && problem.offsets == Offsets::common) problem.offsets = Offsets::none;

  const Eigen::VectorXd first = bundle::first_guess(problem);
  const Solution rough = best_start(problem, with_places_taken(problem, first), first);
  const Problem taken = with_places_taken(problem, rough.x);
  fill(taken, bundle::average_over_spreads(taken, rough.x), usable, speed.value(), result);
  return result;
}

}  // namespace ringtrue
