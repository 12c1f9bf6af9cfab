#pragma once

#include <cstddef>
#include <span>
#include <vector>

namespace ringtrue {

/// Cross-correlation  c[lag] = sum_n channel[n + lag] played[n],  lag = 0 .. longest, through one transform; linear,
/// samples outside the channel count as zero.
[[nodiscard]] std::vector<double> correlate(std::span<const float> channel, std::span<const double> played,
                                            std::size_t longest);

}  // namespace ringtrue
