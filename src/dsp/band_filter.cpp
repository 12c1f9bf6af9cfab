#include "ringtrue/dsp/band_filter.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace ringtrue {
namespace {

double half_cosine(double x) {
  if (x >= 1.0) return 1.0;  // most of a band; cosines cost
  return 0.5 - 0.5 * std::cos(std::numbers::pi * std::max(x, 0.0));
}

double bin_width_hz(const RealFft& fft, Hertz sample_rate) {
  return sample_rate.value() / static_cast<double>(fft.size());
}

}  // namespace

double tapered_gain(double frequency_hz, Band band, double low_octaves, double high_octaves) {
  if (frequency_hz <= band.low.value() || frequency_hz >= band.high.value()) return 0.0;
  const double above = std::log2(frequency_hz / band.low.value());
  const double below = std::log2(band.high.value() / frequency_hz);
  return half_cosine(above / low_octaves) * half_cosine(below / high_octaves);
}

AnalyticSignal hann_band_analytic(const RealFft& fft, std::span<const std::complex<double>> bins, Band band,
                                  Hertz sample_rate) {
  const double df = bin_width_hz(fft, sample_rate);
  const double width = band.high - band.low == Hertz{0.0} ? 1.0 : (band.high - band.low).value();
  std::vector<std::complex<double>> in_phase(bins.size());
  std::vector<std::complex<double>> quadrature(bins.size());
  for (std::size_t k = 1; k + 1 < bins.size(); ++k) {
    const double x = (static_cast<double>(k) * df - band.low.value()) / width;
    if (x <= 0.0 || x >= 1.0) continue;
    in_phase[k] = bins[k] * half_cosine(2.0 * std::min(x, 1.0 - x));
    quadrature[k] = in_phase[k] * std::complex<double>{0.0, -1.0};
  }
  AnalyticSignal signal{std::vector<double>(fft.size()), std::vector<double>(fft.size())};
  fft.inverse(in_phase, signal.in_phase);
  fft.inverse(quadrature, signal.quadrature);
  return signal;
}

std::vector<double> tapered_band(const RealFft& fft, std::span<const std::complex<double>> bins, Band band,
                                 double low_octaves, double high_octaves, Hertz sample_rate) {
  const double df = bin_width_hz(fft, sample_rate);
  std::vector<std::complex<double>> filtered(bins.begin(), bins.end());
  for (std::size_t k = 0; k < filtered.size(); ++k) {
    filtered[k] *= tapered_gain(static_cast<double>(k) * df, band, low_octaves, high_octaves);
  }
  std::vector<double> samples(fft.size());
  fft.inverse(filtered, samples);
  return samples;
}

std::vector<double> envelope(const AnalyticSignal& signal) {
  std::vector<double> magnitude(signal.in_phase.size());
  for (std::size_t n = 0; n < magnitude.size(); ++n) {
    // Sound is far from the ends of double's range, where std::hypot would be worth its time.
    magnitude[n] = std::sqrt(signal.in_phase[n] * signal.in_phase[n] + signal.quadrature[n] * signal.quadrature[n]);
  }
  return magnitude;
}

}  // namespace ringtrue
