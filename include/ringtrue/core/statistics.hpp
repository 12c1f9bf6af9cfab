#pragma once

#include <algorithm>
#include <cmath>
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

}  // namespace ringtrue
