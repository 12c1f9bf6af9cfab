#pragma once

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <iterator>
#include <span>
#include <vector>

namespace ringtrue {

/// The middle one of `values` by size, the upper of two; 0 for none. Robust: up to half of the values may be anything.
[[nodiscard]] inline double median(std::vector<double> values) {
  if (values.empty()) return 0.0;
  const auto middle = values.begin() + std::ssize(values) / 2;
  std::ranges::nth_element(values, middle);
  return *middle;
}

/// The value that a share of `values` (0 to 1) does not exceed; 0 for none.
[[nodiscard]] inline double percentile(std::vector<double> values, double share) {
  if (values.empty()) return 0.0;
  const auto at = values.begin() + static_cast<std::ptrdiff_t>(share * static_cast<double>(values.size() - 1));
  std::ranges::nth_element(values, at);
  return *at;
}

namespace detail {

template <typename Sample>
[[nodiscard]] double root_mean_square(std::span<const Sample> samples) {
  double sum = 0.0;
  for (const Sample x : samples) sum += static_cast<double>(x) * static_cast<double>(x);
  return samples.empty() ? 0.0 : std::sqrt(sum / static_cast<double>(samples.size()));
}

}  // namespace detail

/// Root of the mean of squares, in the samples' unit; 0 for none.
[[nodiscard]] inline double rms(std::span<const double> samples) { return detail::root_mean_square(samples); }
[[nodiscard]] inline double rms(std::span<const float> samples) { return detail::root_mean_square(samples); }

/// Average of the powers of several curves, dB, point by point; all as long as the first. Empty for no curve.
[[nodiscard]] inline std::vector<double> power_average_db(std::span<const std::vector<double>> curves_db) {
  std::vector<double> average(curves_db.empty() ? 0 : curves_db.front().size());
  for (std::size_t i = 0; i < average.size(); ++i) {
    double power = 0.0;
    for (const auto& curve : curves_db) power += std::pow(10.0, curve[i] / 10.0);
    average[i] = 10.0 * std::log10(power / static_cast<double>(curves_db.size()));
  }
  return average;
}

}  // namespace ringtrue
