#pragma once

#include <cmath>
#include <cstddef>

namespace ringtrue {

/// Width of bin k in natural logarithms of frequency, ln((k + 1/2) / (k - 1/2)) = 2 artanh(1 / 2k), k > 0: by its
/// series where that is exact to 1e-15, as a spectrum has thousands of bins for every speaker and band.
[[nodiscard]] inline double log_width_of_bin(std::size_t k) {
  const double x = 0.5 / static_cast<double>(k);
  if (k < 64) return std::log((1.0 + x) / (1.0 - x));
  const double x2 = x * x;
  return 2.0 * x * (1.0 + x2 * (1.0 / 3.0 + x2 * (1.0 / 5.0 + x2 / 7.0)));  // x < 1/128: the next term is 2e-18
}

}  // namespace ringtrue
