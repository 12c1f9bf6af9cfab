#pragma once

#include <cstddef>
#include <span>
#include <vector>

namespace ringtrue {

/// Decay times are read off means of a squared response, at least so many a second: the shortest that a band allows
/// takes some 50 ms to fall by 60 dB, and logarithms cost.
constexpr double times_rate_hz = 1'000.0;

/// Means of so many samples each; what is left at the end counts for nothing.
template <class Sample>
[[nodiscard]] std::vector<double> means_of(std::span<const Sample> squared, std::size_t together) {
  std::vector<double> means(squared.size() / together);
  const Sample share = Sample{1} / static_cast<Sample>(together);
  for (std::size_t i = 0; i < means.size(); ++i) {
    Sample sum{0};
    for (const Sample x : squared.subspan(i * together, together)) sum += x;
    means[i] = static_cast<double>(share * sum);
  }
  return means;
}

}  // namespace ringtrue
