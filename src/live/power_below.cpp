#include "power_below.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <numbers>
#include <vector>

#include "ringtrue/dsp/real_fft.hpp"

namespace ringtrue {

double power_below(std::span<const float> interleaved, std::size_t channels, std::size_t channel, Hertz limit,
                   Hertz rate) {
  constexpr double lowest_hz = 30.0;  // offsets and what drifts are no sound
  const std::size_t frames = interleaved.size() / channels;
  std::vector<double> windowed(frames);
  double window_power = 0.0;
  for (std::size_t n = 0; n < frames; ++n) {
    const double phase = 2.0 * std::numbers::pi * static_cast<double>(n) / static_cast<double>(frames);
    const double window = 0.5 - 0.5 * std::cos(phase);
    window_power += window * window;
    windowed[n] = window * static_cast<double>(interleaved[n * channels + channel]);
  }
  const RealFft fft{good_fft_size(frames)};
  const double bin_hz = rate.value() / static_cast<double>(fft.size());
  const auto bins = spectrum(fft, std::span<const double>{windowed});
  const auto from = static_cast<std::size_t>(std::ceil(lowest_hz / bin_hz));
  const auto until = std::min(bins.size(), static_cast<std::size_t>(limit.value() / bin_hz));
  double sum = 0.0;
  for (std::size_t k = from; k < until; ++k) sum += std::norm(bins[k]);
  return 2.0 * sum / (static_cast<double>(fft.size()) * window_power);
}

}  // namespace ringtrue
