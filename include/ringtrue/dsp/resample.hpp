#pragma once

#include <span>
#include <vector>

namespace ringtrue {

/// Band-limited conversion to another sample rate by libsoxr (very high quality, linear phase, delay compensated).
///
/// @param samples    one channel
/// @param from_hz    rate of `samples`, > 0; need not be whole
/// @param to_hz      wanted rate, > 0; output sample m lies at time m / to_hz, as input sample n at n / from_hz
/// @returns          about samples.size() * to_hz / from_hz samples; `samples` itself when the rates are equal
[[nodiscard]] std::vector<double> resample(std::span<const double> samples, double from_hz, double to_hz);

}  // namespace ringtrue
