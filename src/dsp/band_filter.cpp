#include "ringtrue/dsp/band_filter.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <utility>

#include "ringtrue/dsp/phase_ramp.hpp"

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

double TaperedGain::in_a_taper(double frequency_hz) const {
  if (flat_.low > flat_.high) return tapered_gain(frequency_hz, band_, low_octaves_, high_octaves_);
  if (frequency_hz <= band_.low.value() || frequency_hz >= band_.high.value()) return 0.0;
  return frequency_hz < flat_.low.value() ? half_cosine(std::log2(frequency_hz / band_.low.value()) / low_octaves_)
                                          : half_cosine(std::log2(band_.high.value() / frequency_hz) / high_octaves_);
}

TaperedGain::TaperedGain(Band band, double low_octaves, double high_octaves)
    : band_{band},
      flat_{Hertz{band.low.value() * std::exp2(low_octaves)}, Hertz{band.high.value() * std::exp2(-high_octaves)}},
      low_octaves_{low_octaves},
      high_octaves_{high_octaves} {}

BinRange bins_inside(const RealFft& fft, Band band, Hertz sample_rate) {
  const double df = bin_width_hz(fft, sample_rate);
  const auto last = static_cast<double>(fft.bin_count());
  auto from = static_cast<std::size_t>(std::clamp(std::floor(band.low.value() / df), 0.0, last));
  auto to = static_cast<std::size_t>(std::clamp(std::ceil(band.high.value() / df) + 1.0, 0.0, last));
  while (from < to && static_cast<double>(from) * df <= band.low.value()) ++from;
  while (to > from && static_cast<double>(to - 1) * df >= band.high.value()) --to;
  return {from, to};
}

std::vector<double> hann_band_gains(const RealFft& fft, Band band, Hertz sample_rate) {
  const double df = bin_width_hz(fft, sample_rate);
  const double width = band.high - band.low == Hertz{0.0} ? 1.0 : (band.high - band.low).value();
  BinRange inside = bins_inside(fft, band, sample_rate);
  std::vector<double> gains(inside.to - inside.from);
  const double step = 2.0 * std::numbers::pi * df / width;
  PhaseRamp phase{2.0 * std::numbers::pi * (static_cast<double>(inside.from) * df - band.low.value()) / width, step};
  for (double& gain : gains) gain = 0.5 - 0.5 * phase.next().real();
  return gains;
}

AnalyticSignal hann_band_analytic(const RealFft& fft, std::span<const std::complex<double>> bins, Band band,
                                  Hertz sample_rate) {
  return hann_band_analytic(fft, bins, band, sample_rate, hann_band_gains(fft, band, sample_rate));
}

AnalyticSignal hann_band_analytic(const RealFft& fft, std::span<const std::complex<double>> bins, Band band,
                                  Hertz sample_rate, std::span<const double> gains) {
  const BinRange inside = bins_inside(fft, band, sample_rate);
  const double scale = 1.0 / static_cast<double>(fft.size());
  const std::size_t end = std::min(inside.to, bins.size() - 1);  // neither half the sample rate nor 0 Hz
  const std::size_t first = std::min(end, std::max<std::size_t>(1, inside.from));
  Spectrum filtered(bins.size());  // one after the other, in the same memory
  const auto in_time = [&](const auto& turned) {
    std::fill(filtered.begin(), filtered.begin() + static_cast<std::ptrdiff_t>(first), 0.0);
    std::fill(filtered.begin() + static_cast<std::ptrdiff_t>(end), filtered.end(), 0.0);
    for (std::size_t k = first; k < end; ++k) filtered[k] = turned(bins[k] * (scale * gains[k - inside.from]));
    Scratch<double> time(fft.size());
    fft.inverse_unscaled(filtered, time);
    return time;
  };
  auto in_phase = in_time([](std::complex<double> bin) { return bin; });
  auto quadrature = in_time([](std::complex<double> bin) { return std::complex{bin.imag(), -bin.real()}; });
  return {std::move(in_phase), std::move(quadrature)};
}

std::vector<double> tapered_band(const RealFft& fft, std::span<const std::complex<double>> bins, Band band,
                                 double low_octaves, double high_octaves, Hertz sample_rate) {
  return thinned_tapered_band(fft, bins, band, low_octaves, high_octaves, sample_rate, 1);
}

std::vector<double> thinned_tapered_band(const RealFft& fft, std::span<const std::complex<double>> bins, Band band,
                                         double low_octaves, double high_octaves, Hertz sample_rate,
                                         std::size_t keep_one_in) {
  const double df = bin_width_hz(fft, sample_rate);
  const RealFft thinned{fft.size() / keep_one_in};
  const TaperedGain gain{band, low_octaves, high_octaves};
  const double scale = 1.0 / static_cast<double>(fft.size());  // of the whole transform: levels stay
  std::vector<std::complex<double>> filtered(thinned.bin_count());
  const BinRange inside = bins_inside(fft, band, sample_rate);
  for (std::size_t k = inside.from; k < std::min(inside.to, filtered.size()); ++k) {
    filtered[k] = bins[k] * (scale * gain.at(static_cast<double>(k) * df));
  }
  std::vector<double> samples(thinned.size());
  thinned.inverse_unscaled(filtered, samples);
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
