#include "first_guess.hpp"

#include <cmath>

namespace ringtrue::bundle {
namespace {

/// The ranges of one speaker by spot; NaN where there is none.
Eigen::MatrixXd table_of(const Problem& problem) {
  Eigen::MatrixXd ranges = Eigen::MatrixXd::Constant(problem.speakers(), static_cast<Index>(problem.spots.size()), NAN);
  for (const Range& range : problem.ranges) ranges(range.speaker, range.spot) = range.range_m;
  return ranges;
}

/// 2 m.s = |m|^2 - (r^2 - r0^2), linear in s, over the spots against the first one known. The solution is rough in
/// distance, which r0 gives better: its direction is kept.
Vector3d from_ranges(const Eigen::VectorXd& ranges_m, const std::vector<Vector3d>& spots) {
  Index first = 0;
  while (std::isnan(ranges_m[first])) ++first;
  const Vector3d origin = spots[static_cast<std::size_t>(first)];
  const double r0 = ranges_m[first];
  Eigen::MatrixXd A = Eigen::MatrixXd::Zero(ranges_m.size(), 3);
  Eigen::VectorXd b = Eigen::VectorXd::Zero(ranges_m.size());
  for (Index p = first + 1; p < ranges_m.size(); ++p) {
    if (std::isnan(ranges_m[p])) continue;
    const Vector3d m = spots[static_cast<std::size_t>(p)] - origin;
    A.row(p) = 2.0 * m.transpose();
    b[p] = m.squaredNorm() - (ranges_m[p] * ranges_m[p] - r0 * r0);
  }
  const Vector3d s = A.colPivHouseholderQr().solve(b);
  const double length = s.norm();
  return origin + (length > 1e-6 ? Vector3d{s * (std::abs(r0) / length)} : Vector3d{0.0, std::abs(r0), 0.0});
}

/// r_p - r_0 of each speaker, without what the nominal directions leave of it on average: what a plane wave makes.
Eigen::MatrixXd plane_waves(const Problem& problem, const Eigen::MatrixXd& ranges) {
  Vector3d mean_direction = Vector3d::Zero();
  double known = 0.0;
  for (const auto& nominal : problem.nominal) {
    if (!nominal) continue;
    mean_direction += nominal->direction;
    known += 1.0;
  }
  if (known > 0.0) mean_direction /= known;
  Eigen::MatrixXd waves = ranges.colwise() - ranges.col(0);
  for (Index p = 0; p < waves.cols(); ++p) {
    double sum = 0.0;
    double count = 0.0;
    for (Index s = 0; s < waves.rows(); ++s) {
      const bool counts = problem.nominal[static_cast<std::size_t>(s)] && !std::isnan(waves(s, p));
      sum += counts ? waves(s, p) : 0.0;
      count += counts ? 1.0 : 0.0;
    }
    const double mean = count > 0.0 ? sum / count : 0.0;
    waves.col(p).array() -= mean + mean_direction.dot(problem.spots[static_cast<std::size_t>(p)] - problem.spots[0]);
  }
  return waves;
}

/// Offsets that the places leave, on average: those of the ranges against the distances.
void set_offsets(const Problem& problem, Eigen::VectorXd& x) {
  x.segment(problem.first_offset(), problem.offset_count()).setZero();
  Eigen::VectorXd sum = Eigen::VectorXd::Zero(problem.offset_count());
  Eigen::VectorXd count = Eigen::VectorXd::Zero(problem.offset_count());
  for (const Range& range : problem.ranges) {
    const Index o = problem.offset(range.spot) - problem.first_offset();
    const Vector3d place = x.segment<3>(problem.place(range.speaker));
    sum[o] += range.range_m - (place - problem.spots[static_cast<std::size_t>(range.spot)]).norm();
    count[o] += 1.0;
  }
  for (Index o = 0; o < sum.size(); ++o) x[problem.first_offset() + o] = count[o] > 0.0 ? sum[o] / count[o] : 0.0;
}

/// What to add to the first spot's ranges for distances, roughly: by the tape, else so that their mean is typical.
double first_offset_m(const Problem& problem, const Eigen::MatrixXd& ranges) {
  double sum = 0.0;
  for (const Taped& taped : problem.taped) sum += taped.distance_m - ranges(taped.speaker, 0);
  if (!problem.taped.empty()) return sum / static_cast<double>(problem.taped.size());
  return problem.typical_distance_m - ranges.col(0).mean();
}

}  // namespace

Eigen::VectorXd first_guess(const Problem& problem) {
  constexpr double nearest_m = 0.3;
  Eigen::VectorXd x = Eigen::VectorXd::Zero(problem.unknowns());
  Eigen::MatrixXd ranges = table_of(problem);
  if (problem.offsets == Offsets::per_spot) {
    const Eigen::VectorXd distance = (ranges.col(0).array() + first_offset_m(problem, ranges)).max(nearest_m);
    ranges = plane_waves(problem, ranges).colwise() + distance;
  } else if (problem.offsets == Offsets::common) {
    ranges = (ranges.array() + first_offset_m(problem, ranges)).max(nearest_m).matrix();
  }
  for (Index s = 0; s < problem.speakers(); ++s) {
    x.segment<3>(problem.place(s)) = from_ranges(ranges.row(s).transpose(), problem.spots);
  }
  if (problem.offsets != Offsets::none) set_offsets(problem, x);
  return x;
}

Eigen::VectorXd nominal_guess(const Problem& problem, const Eigen::VectorXd& first) {
  Eigen::VectorXd x = first;
  for (Index s = 0; s < problem.speakers(); ++s) {
    const auto& nominal = problem.nominal[static_cast<std::size_t>(s)];
    if (nominal) x.segment<3>(problem.place(s)) = nominal->direction * first.segment<3>(problem.place(s)).norm();
  }
  if (problem.offsets != Offsets::none) set_offsets(problem, x);
  return x;
}

}  // namespace ringtrue::bundle
