#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>
#include <span>

#include "ringtrue/dsp/band_filter.hpp"
#include "ringtrue/response/arrival.hpp"

namespace ringtrue {
namespace {

constexpr double direct_below_highest = 0.126;  // -18 dB: a reflection may be that much louder than the direct sound
constexpr double above_noise = 8.0;             // times rms: noise of 10^5 envelope samples peaks at 4.8
constexpr double upper_band_octaves = 3.5;

Band upper_band(Band band) {
  const double high = std::min(band.high.value(), 20'000.0);
  return {Hertz{std::max(band.low.value(), high * std::exp2(-upper_band_octaves))}, Hertz{high}};
}

double rms(std::span<const double> samples) {
  double sum = 0.0;
  for (const double x : samples) sum += x * x;
  return samples.empty() ? 0.0 : std::sqrt(sum / static_cast<double>(samples.size()));
}

/// Vertex of the parabola through three equally spaced values, from the middle one.
double vertex(double before, double middle, double after) {
  const double bend = before - 2.0 * middle + after;
  return bend < 0.0 ? std::clamp((before - after) / (2.0 * bend), -0.5, 0.5) : 0.0;
}

/// Root mean square, per sample, of the slope of the noise that adds to an envelope: one component of the analytic
/// noise after its carrier at the middle of the band is taken away.
double envelope_slope_rms(const AnalyticSignal& noise, std::size_t size, double carrier_rad) {
  const std::complex<double> back = std::polar(1.0, -carrier_rad);
  const auto at = [&](std::size_t n) { return std::complex<double>{noise.in_phase[n], noise.quadrature[n]}; };
  double sum = 0.0;
  for (std::size_t n = 2; n < size; ++n) sum += 0.25 * std::norm(at(n) * back - at(n - 2) * std::conj(back));
  return std::sqrt(0.5 * sum / static_cast<double>(std::max<std::size_t>(size, 3) - 2));
}

}  // namespace

std::optional<Arrival> full_range_arrival(const Takes& takes, Band band) {
  const RealFft fft{good_fft_size(takes.mean.size() + 512)};  // the pad keeps the circular filter's ends apart
  const Hertz rate{takes.sample_rate_hz};
  const Band upper = upper_band(band);
  const auto direct =
      envelope(hann_band_analytic(fft, spectrum(fft, std::span<const double>{takes.mean}), upper, rate));
  const auto noise = hann_band_analytic(fft, spectrum(fft, std::span<const double>{takes.noise}), upper, rate);

  const std::size_t size = takes.mean.size();
  const double carrier_rad = std::numbers::pi * (upper.low.value() + upper.high.value()) / rate.value();
  const double noise_rms = rms(std::span{noise.in_phase}.first(size));
  const double highest = *std::max_element(direct.begin(), direct.begin() + static_cast<std::ptrdiff_t>(size));
  const double threshold = std::max(direct_below_highest * highest, above_noise * noise_rms);
  if (highest <= threshold || highest <= 0.0) return {};

  for (std::size_t n = 1; n + 1 < size; ++n) {
    if (direct[n] < threshold || direct[n] < direct[n - 1] || direct[n] <= direct[n + 1]) continue;
    const double before = std::log(direct[n - 1]);
    const double middle = std::log(direct[n]);
    const double after = std::log(direct[n + 1]);
    const double bend = -(direct[n - 1] - 2.0 * direct[n] + direct[n + 1]);
    const double jitter = bend > 0.0 ? envelope_slope_rms(noise, size, carrier_rad) / bend : 1.0;
    return Arrival{static_cast<double>(n) + vertex(before, middle, after), jitter,
                   20.0 * std::log10(direct[n] / std::max(noise_rms, 1e-15))};
  }
  return {};
}

}  // namespace ringtrue
