#include "ringtrue/alignment/rounding.hpp"

#include <algorithm>
#include <cmath>

namespace ringtrue {
namespace {

double on_grid(double value, double step) { return std::round(value / step) * step; }

/// The grid's smallest and largest value inside the range.
std::array<double, 2> grid_range(const Steps& steps) {
  const double tolerance = 1e-9;  // a range end that is a whole number of steps, but for its binary digits
  return {std::ceil(steps.range[0] / steps.step - tolerance) * steps.step,
          std::floor(steps.range[1] / steps.step + tolerance) * steps.step};
}

/// Further outside the range than rounding alone can bring it.
bool outside(double wanted, const std::array<double, 2>& range, double step) {
  const double slack = 0.5 * step + 1e-9;
  return wanted > range[1] + slack || wanted < range[0] - slack;
}

/// Largest remainder of the values after a common shift, rounding and the range; values outside it do not count.
double largest_remainder(std::span<const std::optional<double>> wanted, double shift,
                         const std::array<double, 2>& range, double step) {
  double largest = 0.0;
  for (const auto& value : wanted) {
    if (!value || outside(*value, range, step)) continue;
    const double typed = std::clamp(on_grid(*value + shift, step), range[0], range[1]);
    largest = std::max(largest, std::abs(*value + shift - typed));
  }
  return largest;
}

}  // namespace

std::vector<std::optional<Rounded>> round_jointly(std::span<const std::optional<double>> wanted, const Steps& steps) {
  constexpr int trials = 50;
  double shift = 0.0;
  const std::array<double, 2> range = grid_range(steps);
  double least = largest_remainder(wanted, 0.0, range, steps.step);
  for (int i = 1; i < trials; ++i) {
    for (const double sign : {1.0, -1.0}) {
      const double candidate = sign * 0.5 * steps.step * i / trials;
      const double remainder = largest_remainder(wanted, candidate, range, steps.step);
      if (remainder < least - 1e-12) {
        least = remainder;
        shift = candidate;
      }
    }
  }
  std::vector<std::optional<Rounded>> rounded;
  for (const auto& value : wanted) {
    if (!value) {
      rounded.emplace_back();
      continue;
    }
    const double typed = std::clamp(on_grid(*value + shift, steps.step), range[0], range[1]);
    rounded.push_back(Rounded{typed, *value + shift - typed, outside(*value, range, steps.step)});
  }
  return rounded;
}

}  // namespace ringtrue
