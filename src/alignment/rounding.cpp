#include "ringtrue/alignment/rounding.hpp"

#include <algorithm>
#include <cmath>

namespace ringtrue {
namespace {

double on_grid(double value, double step) { return std::round(value / step) * step; }

/// Largest remainder of the values after a common shift.
double largest_remainder(std::span<const std::optional<double>> wanted, double shift, double step) {
  double largest = 0.0;
  for (const auto& value : wanted) {
    if (value) largest = std::max(largest, std::abs(*value + shift - on_grid(*value + shift, step)));
  }
  return largest;
}

/// The grid's smallest and largest value inside the range.
std::array<double, 2> grid_range(const Steps& steps) {
  const double tolerance = 1e-9;  // a range end that is a whole number of steps, but for its binary digits
  return {std::ceil(steps.range[0] / steps.step - tolerance) * steps.step,
          std::floor(steps.range[1] / steps.step + tolerance) * steps.step};
}

}  // namespace

std::vector<std::optional<Rounded>> round_jointly(std::span<const std::optional<double>> wanted, const Steps& steps) {
  constexpr int trials = 50;
  double shift = 0.0;
  double least = largest_remainder(wanted, 0.0, steps.step);
  for (int i = 1; i < trials; ++i) {
    for (const double sign : {1.0, -1.0}) {
      const double candidate = sign * 0.5 * steps.step * i / trials;
      const double remainder = largest_remainder(wanted, candidate, steps.step);
      if (remainder < least - 1e-12) {
        least = remainder;
        shift = candidate;
      }
    }
  }
  const auto [low, high] = grid_range(steps);
  std::vector<std::optional<Rounded>> rounded;
  for (const auto& value : wanted) {
    if (!value) {
      rounded.emplace_back();
      continue;
    }
    const double unclamped = on_grid(*value + shift, steps.step);
    const double clamped = std::clamp(unclamped, low, high);
    rounded.push_back(Rounded{clamped, *value + shift - clamped, std::abs(clamped - unclamped) > 0.5 * steps.step});
  }
  return rounded;
}

}  // namespace ringtrue
