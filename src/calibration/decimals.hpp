#pragma once

#include <algorithm>
#include <cmath>

namespace ringtrue {

/// Decimals that show a value in full, at most four.
[[nodiscard]] inline int decimals_of_value(double value) {
  for (int decimals = 0; decimals < 4; ++decimals) {
    const double scaled = std::abs(value) * std::pow(10.0, decimals);
    if (std::abs(scaled - std::round(scaled)) < 1e-4) return decimals;
  }
  return 4;
}

/// Decimals that a field with this step has.
[[nodiscard]] inline int decimals_of_step(double step) { return decimals_of_value(step); }

}  // namespace ringtrue
