#pragma once

#include <cstddef>
#include <vector>

namespace ringtrue {

/// The responses of one speaker at one position, from its two sweeps, on one time grid.
///
/// `noise` is half the difference of the two: it has the same spectrum and power as the noise in `mean`, and nothing
/// of the signal. Index `zero_index` is zero latency against the nominal time of the sweep.
struct Takes {
  double sample_rate_hz = 48'000.0;  // in the player's seconds
  std::size_t zero_index = 0;
  std::vector<double> first;
  std::vector<double> second;
  std::vector<double> mean;
  std::vector<double> noise;
};

[[nodiscard]] Takes combine(std::vector<double> first, std::vector<double> second, double sample_rate_hz,
                            std::size_t zero_index);

}  // namespace ringtrue
