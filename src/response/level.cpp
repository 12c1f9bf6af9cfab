#include "ringtrue/response/level.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <span>

#include "ringtrue/dsp/real_fft.hpp"

namespace ringtrue {

std::optional<BandLevel> pink_band_level(const Takes& takes, Band band, std::size_t from, std::size_t to) {
  const std::size_t length = std::min(to, takes.mean.size()) - from;
  const RealFft fft{good_fft_size(length)};
  const auto mean = spectrum(fft, std::span<const double>{takes.mean}.subspan(from, length));
  const auto rest = spectrum(fft, std::span<const double>{takes.noise}.subspan(from, length));
  const double df = takes.sample_rate_hz / static_cast<double>(fft.size());

  double signal = 0.0;    // sum w (|M|^2 - |N|^2)
  double weights = 0.0;   // sum w
  double noise = 0.0;     // sum w |N|^2: the noise in the mean
  double variance = 0.0;  // of `signal`: each bin w^2 (|H|^2 s2 + s2^2 / 2), s2 = 2 |N|^2 the noise of one take
  for (std::size_t k = 1; k < mean.size(); ++k) {
    // A bin stands for the band half a bin to each side of it; at the band's edges only its part inside counts.
    const double f = static_cast<double>(k) * df;
    const double low = std::max(f - 0.5 * df, band.low.value());
    const double high = std::min(f + 0.5 * df, band.high.value());
    if (high <= low) continue;
    const double w = std::log(high / low);  // integral of df / f
    const double power = std::norm(mean[k]) - std::norm(rest[k]);
    const double s2 = 2.0 * std::norm(rest[k]);
    signal += w * power;
    weights += w;
    noise += w * 0.5 * s2;
    variance += w * w * (std::max(power, 0.0) * s2 + 0.5 * s2 * s2);
  }
  if (!(signal > 0.0) || weights <= 0.0) return {};
  const double padding = static_cast<double>(fft.size()) / static_cast<double>(length);  // bins are not independent
  const double relative = std::sqrt(variance * padding) / signal;
  return BandLevel{{10.0 * std::log10(signal / weights), 10.0 / std::numbers::ln10 * relative},
                   10.0 * std::log10(signal / std::max(noise, 1e-30 * signal))};
}

}  // namespace ringtrue
