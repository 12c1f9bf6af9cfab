#include "spread_average.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

namespace ringtrue::bundle {
namespace {

constexpr double radians = std::numbers::pi / 180.0;
constexpr std::array spots_m{0.00025, 0.0007, 0.0015, 0.003, 0.006, 0.012};
constexpr std::array nominals_rad{1.0 * radians, 2.5 * radians, 5.0 * radians, 10.0 * radians};
constexpr std::array range_scales{0.3, 1.0, 2.5};

/// What is expected before anything is measured: log-normal about a usual value.
double log_prior(double value, double usual, double factor) {
  const double away = std::log(value / usual) / std::log(factor);
  return -0.5 * away * away;
}

struct Tried {
  Spread spread;
  Solution solution;
  double log_weight;
};

std::vector<Tried> try_spreads(const Problem& problem, const Eigen::VectorXd& start) {
  std::vector<Tried> all;
  const bool has_ranges = std::ranges::any_of(problem.nominal, [](const auto& home) { return home && home->range; });
  for (const double scale : range_scales) {
    for (std::size_t n = 0; n < nominals_rad.size() * (has_ranges ? 2 : 1); ++n) {
      const double nominal_rad = nominals_rad[n % nominals_rad.size()];
      const bool over_ranges = n >= nominals_rad.size();
      Eigen::VectorXd x = start;
      for (auto spot_m = spots_m.rbegin(); spot_m != spots_m.rend(); ++spot_m) {
        const Spread spread{*spot_m, nominal_rad, over_ranges, scale};
        Solution solution = solve(problem, spread, x);
        x = solution.x;
        const double log_weight = solution.log_evidence + log_prior(*spot_m, 0.004, 3.0) +
                                  log_prior(nominal_rad, 4.0 * radians, 3.0) + log_prior(scale, 1.0, 2.0);
        all.push_back({spread, std::move(solution), log_weight});
      }
    }
  }
  return all;
}

}  // namespace

Average average_over_spreads(const Problem& problem, const Eigen::VectorXd& start) {
  const std::vector<Tried> all = try_spreads(problem, start);
  const double best = std::ranges::max_element(all, {}, &Tried::log_weight)->log_weight;
  Average average{Eigen::VectorXd::Zero(start.size()), Eigen::MatrixXd::Zero(start.size(), start.size()), 0.0};
  double sum = 0.0;
  for (const Tried& tried : all) sum += std::exp(tried.log_weight - best);
  for (const Tried& tried : all) {
    const double weight = std::exp(tried.log_weight - best) / sum;
    average.x += weight * tried.solution.x;
    average.spot_m += weight * tried.spread.spot_m;
  }
  for (const Tried& tried : all) {
    const double weight = std::exp(tried.log_weight - best) / sum;
    const Eigen::VectorXd away = tried.solution.x - average.x;
    average.covariance += weight * (tried.solution.covariance + away * away.transpose());
  }
  return average;
}

}  // namespace ringtrue::bundle
