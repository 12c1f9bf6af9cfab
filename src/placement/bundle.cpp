#include "bundle.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

namespace ringtrue::bundle {
namespace {

constexpr double tape_sigma_m = 0.01;    // how well a tape finds the acoustic centre
constexpr double typical_sigma_m = 0.8;  // of a ring's mean distance, where nothing else tells it
constexpr double speed_sigma = 0.008;    // of the speed of sound by the rig's temperature: 5 degrees C
constexpr double offset_sigma_m = 1e4;   // of offsets: not known at all

// Degrees of freedom of the heavy tails (Student's t): working values.
constexpr double range_freedom = 5.0;
constexpr double spot_freedom = 5.0;
constexpr double nominal_freedom = 3.0;

/// Some residuals that belong together, in standard deviations, and what they depend on.
class Group {
 public:
  explicit Group(const Vector3d& residual) : residual_{residual}, slope_(3, most_columns) {}
  explicit Group(double residual) : residual_{Eigen::Matrix<double, 1, 1>{residual}}, slope_(1, most_columns) {}

  /// Three unknowns from `first` on.
  template <class Slope>
  void depends(Index first, const Slope& slope) {
    slope_.middleCols(used_, 3) = slope;
    for (Index k = 0; k < 3; ++k) columns_[static_cast<std::size_t>(used_++)] = first + k;
  }
  void depends_on_one(Index column, double slope) {
    slope_(0, used_) = slope;
    columns_[static_cast<std::size_t>(used_++)] = column;
  }

  [[nodiscard]] Index size() const { return residual_.size(); }
  [[nodiscard]] Index used() const { return used_; }
  [[nodiscard]] Index column(Index i) const { return columns_[static_cast<std::size_t>(i)]; }
  [[nodiscard]] double square() const { return residual_.squaredNorm(); }
  [[nodiscard]] double along(Index i) const { return slope_.col(i).dot(residual_); }
  [[nodiscard]] double together(Index i, Index j) const { return slope_.col(i).dot(slope_.col(j)); }

 private:
  static constexpr int most_columns = 8;
  Eigen::Matrix<double, Eigen::Dynamic, 1, 0, 3, 1> residual_;
  Eigen::Matrix<double, Eigen::Dynamic, Eigen::Dynamic, 0, 3, most_columns> slope_;
  std::array<Index, most_columns> columns_{};
  Index used_ = 0;
};

/// J'WJ, J'Wr and the cost, built up group by group. A group of n residuals r that follow a multivariate t with f
/// degrees of freedom costs (f + n)/2 ln(1 + |r|^2/f) and has the weight (f + n)/(f + |r|^2).
struct NormalEquations {
  Eigen::MatrixXd normal;
  Eigen::VectorXd gradient;
  double cost = 0.0;

  explicit NormalEquations(Index unknowns)
      : normal{Eigen::MatrixXd::Zero(unknowns, unknowns)}, gradient{Eigen::VectorXd::Zero(unknowns)} {}

  void add(const Group& group, double freedom) {
    const double together = freedom + static_cast<double>(group.size());
    const double weight = together / (freedom + group.square());
    cost += 0.5 * together * std::log1p(group.square() / freedom);
    for (Index i = 0; i < group.used(); ++i) {
      gradient[group.column(i)] += weight * group.along(i);
      for (Index j = 0; j < group.used(); ++j) {
        normal(group.column(i), group.column(j)) += weight * group.together(i, j);
      }
    }
  }

  void add_normal(double residual, const Eigen::VectorXd& slope) {
    cost += 0.5 * residual * residual;
    gradient += residual * slope;
    normal += slope * slope.transpose();
  }

  void add_normal(Index column, double residual, double slope) {
    cost += 0.5 * residual * residual;
    gradient[column] += slope * residual;
    normal(column, column) += slope * slope;
  }
};

void add_ranges(const Problem& problem, const Spread& spread, const Eigen::VectorXd& x, NormalEquations& equations) {
  const bool has_offset = problem.offsets != Offsets::none;
  for (const Range& range : problem.ranges) {
    const double sigma_m = range.sigma_m * spread.range_scale;
    const Vector3d from = x.segment<3>(problem.place(range.speaker)) -
                          problem.spots[static_cast<std::size_t>(range.spot)] -
                          x.segment<3>(problem.spot_error(range.spot));
    const double distance_m = std::max(from.norm(), 1e-6);
    const double speed = problem.solve_speed ? x[problem.speed()] : 0.0;
    const double offset_m = has_offset ? x[problem.offset(range.spot)] : 0.0;
    Group group{(distance_m + offset_m - (1.0 + speed) * range.range_m) / sigma_m};
    group.depends(problem.place(range.speaker), from.transpose() / (distance_m * sigma_m));
    group.depends(problem.spot_error(range.spot), -from.transpose() / (distance_m * sigma_m));
    if (has_offset) group.depends_on_one(problem.offset(range.spot), 1.0 / sigma_m);
    if (problem.solve_speed) group.depends_on_one(problem.speed(), -range.range_m / sigma_m);
    equations.add(group, range_freedom);
  }
}

void add_spots(const Problem& problem, const Spread& spread, const Eigen::VectorXd& x, NormalEquations& equations) {
  for (Index p = 0; p < static_cast<Index>(problem.spots.size()); ++p) {
    Group group{Vector3d{x.segment<3>(problem.spot_error(p)) / spread.spot_m}};
    group.depends(problem.spot_error(p), Eigen::Matrix3d::Identity() / spread.spot_m);
    equations.add(group, spot_freedom);
  }
}

constexpr double radians = std::numbers::pi / 180.0;

/// The range that counts for a speaker; none near straight up and down, where azimuths mean nothing.
const AngleRange* range_of(const Home& home, const Spread& spread) {
  constexpr double steep = 0.35;  // cosine of 70 degrees
  const bool counts = spread.over_ranges && home.range && home.direction.head<2>().norm() > steep;
  return counts ? &*home.range : nullptr;
}

double beyond(double angle_rad, double low_deg, double high_deg) {
  return angle_rad - std::clamp(angle_rad, low_deg * radians, high_deg * radians);
}

/// How far a direction is outside a range, along azimuth and elevation; inside it nothing depends on the place.
Group outside_group(const AngleRange& range, const Vector3d& direction, double sigma_rad, double distance_m,
                    Index place) {
  const double level = std::max(direction.head<2>().norm(), 1e-6);
  const double elevation = std::atan2(direction.z(), level);
  const double middle = 0.5 * (range.az_min_deg + range.az_max_deg) * radians;
  const double azimuth =
      middle + std::remainder(std::atan2(-direction.x(), direction.y()) - middle, 2.0 * std::numbers::pi);
  const double azimuth_out = beyond(azimuth, range.az_min_deg, range.az_max_deg);
  const double elevation_out = beyond(elevation, range.el_min_deg, range.el_max_deg);
  const double sine = -direction.x() / level;
  const double cosine = direction.y() / level;
  Eigen::Matrix3d slope = Eigen::Matrix3d::Zero();
  if (azimuth_out != 0.0 || range.az_min_deg == range.az_max_deg) slope.row(0) << -cosine, -sine, 0.0;
  if (elevation_out != 0.0 || range.el_min_deg == range.el_max_deg) {
    slope.row(1) << sine * direction.z(), -cosine * direction.z(), level;
  }
  Group group{Vector3d{azimuth_out * level / sigma_rad, elevation_out / sigma_rad, 0.0}};
  group.depends(place, slope / (distance_m * sigma_rad));
  return group;
}

void add_nominal(const Problem& problem, const Spread& spread, const Eigen::VectorXd& x, NormalEquations& equations) {
  for (Index s = 0; s < problem.speakers(); ++s) {
    const auto& home = problem.nominal[static_cast<std::size_t>(s)];
    if (!home) continue;
    const Vector3d place = x.segment<3>(problem.place(s));
    const double distance_m = std::max(place.norm(), 1e-6);
    const Vector3d direction = place / distance_m;
    if (const AngleRange* const range = range_of(*home, spread)) {
      equations.add(outside_group(*range, direction, spread.nominal_rad, distance_m, problem.place(s)),
                    nominal_freedom);
      continue;
    }
    Group group{Vector3d{(direction - home->direction) / spread.nominal_rad}};
    group.depends(problem.place(s), (Eigen::Matrix3d::Identity() - direction * direction.transpose()) /
                                        (distance_m * spread.nominal_rad));
    equations.add(group, nominal_freedom);
  }
}

void add_distances(const Problem& problem, const Eigen::VectorXd& x, NormalEquations& equations) {
  const auto place_of = [&](Index s) -> Vector3d { return x.segment<3>(problem.place(s)); };
  for (const Taped& taped : problem.taped) {
    const Vector3d place = place_of(taped.speaker);
    const double distance_m = std::max(place.norm(), 1e-6);
    Group group{(distance_m - taped.distance_m) / tape_sigma_m};
    group.depends(problem.place(taped.speaker), place.transpose() / (distance_m * tape_sigma_m));
    equations.add(group, range_freedom);
  }
  if (problem.offsets != Offsets::per_spot || !problem.taped.empty()) return;
  Eigen::VectorXd slope = Eigen::VectorXd::Zero(x.size());
  double mean_m = 0.0;
  const double share = 1.0 / static_cast<double>(problem.speakers());
  for (Index s = 0; s < problem.speakers(); ++s) {
    const double distance_m = std::max(place_of(s).norm(), 1e-6);
    mean_m += share * distance_m;
    slope.segment<3>(problem.place(s)) = place_of(s) * (share / (distance_m * typical_sigma_m));
  }
  equations.add_normal((mean_m - problem.typical_distance_m) / typical_sigma_m, slope);
}

NormalEquations equations_at(const Problem& problem, const Spread& spread, const Eigen::VectorXd& x) {
  NormalEquations equations{problem.unknowns()};
  add_ranges(problem, spread, x, equations);
  add_spots(problem, spread, x, equations);
  add_nominal(problem, spread, x, equations);
  add_distances(problem, x, equations);
  for (Index i = problem.first_offset(); i < problem.speed(); ++i) {
    equations.add_normal(i, x[i] / offset_sigma_m, 1.0 / offset_sigma_m);
  }
  if (problem.solve_speed) equations.add_normal(problem.speed(), x[problem.speed()] / speed_sigma, 1.0 / speed_sigma);
  return equations;
}

/// Logarithm of how much room a speaker has about its home: a bell's width, and a range's on top of it.
double log_room(const Home& home, const Spread& spread) {
  const AngleRange* const range = range_of(home, spread);
  if (range == nullptr) return 2.0 * std::log(spread.nominal_rad);
  const double bell = std::sqrt(2.0 * std::numbers::pi);  // of a normal distribution, against its sigma
  const double wide = (range->az_max_deg - range->az_min_deg) * radians * home.direction.head<2>().norm();
  const double high = (range->el_max_deg - range->el_min_deg) * radians;
  return std::log(spread.nominal_rad + wide / bell) + std::log(spread.nominal_rad + high / bell);
}

/// Logarithm of the factors 1/sigma of everything whose sigma is asked for.
double log_scale(const Problem& problem, const Spread& spread) {
  double log_rooms = 0.0;
  for (const auto& home : problem.nominal) log_rooms += home ? log_room(*home, spread) : 0.0;
  return -static_cast<double>(problem.ranges.size()) * std::log(spread.range_scale) -
         3.0 * static_cast<double>(problem.spots.size()) * std::log(spread.spot_m) - log_rooms;
}

}  // namespace

Index Problem::offset_count() const {
  if (offsets == Offsets::none) return 0;
  return offsets == Offsets::common ? 1 : static_cast<Index>(spots.size());
}

Solution solve(const Problem& problem, const Spread& spread, const Eigen::VectorXd& start) {
  constexpr int most_rounds = 60;
  constexpr double settled = 1e-7;  // of the cost
  Eigen::VectorXd x = start;
  NormalEquations equations = equations_at(problem, spread, x);
  double damping = 1e-4;
  for (int round = 0; round < most_rounds && damping < 1e9; ++round) {
    Eigen::MatrixXd normal = equations.normal;
    normal.diagonal() *= 1.0 + damping;
    const Eigen::VectorXd step = normal.ldlt().solve(-equations.gradient);
    NormalEquations tried = equations_at(problem, spread, x + step);
    if (!(tried.cost < equations.cost)) {
      damping *= 8.0;
      continue;
    }
    const double won = equations.cost - tried.cost;
    x += step;
    equations = std::move(tried);
    damping = std::max(1e-9, 0.2 * damping);
    if (won < settled) break;
  }
  const Eigen::LDLT<Eigen::MatrixXd> factors = equations.normal.ldlt();
  const double log_determinant = factors.vectorD().array().max(1e-300).log().sum();
  const Eigen::MatrixXd identity = Eigen::MatrixXd::Identity(x.size(), x.size());
  return {x, factors.solve(identity), equations.cost,
          log_scale(problem, spread) - equations.cost - 0.5 * log_determinant};
}

}  // namespace ringtrue::bundle
