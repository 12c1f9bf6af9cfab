#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>
#include <span>

#include "ringtrue/dsp/band_filter.hpp"
#include "ringtrue/dsp/phase_ramp.hpp"
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

/// Vertex of the parabola through three equally spaced values, from the middle one.
double vertex(double before, double middle, double after) {
  const double bend = before - 2.0 * middle + after;
  return bend < 0.0 ? std::clamp((before - after) / (2.0 * bend), -0.5, 0.5) : 0.0;
}

/// The noise in a band, from its spectrum (Parseval): no need to see it in time.
struct BandNoise {
  double rms = 0.0;
  /// Root mean square, per sample, of the slope of the noise that adds to an envelope: one component of the analytic
  /// noise after its carrier at the middle of the band is taken away. The central difference of exp(i w n) against a
  /// carrier at c has the square sin^2(w - c).
  double envelope_slope = 0.0;
};

/// @param gains  of the band's window  @param noise_samples  of the transform's, the others are padding
BandNoise noise_in(const TakeSpectra& spectra, Band band, std::span<const double> gains, std::size_t noise_samples,
                   Hertz rate) {
  const RealFft& fft = spectra.fft;
  const BinRange inside = bins_inside(fft, band, rate);
  const double w1 = 2.0 * std::numbers::pi / static_cast<double>(fft.size());
  const double carrier = std::numbers::pi * (band.low.value() + band.high.value()) / rate.value();
  PhaseRamp phase{w1 * static_cast<double>(inside.from) - carrier, w1};
  double power = 0.0;
  double slope = 0.0;
  for (std::size_t k = inside.from; k < inside.to; ++k) {
    const double here = std::norm(spectra.noise[k]) * gains[k - inside.from] * gains[k - inside.from];
    const double sine = phase.next().imag();
    power += here;
    slope += here * sine * sine;
  }
  // Both halves of the spectrum, over all samples of the transform, of which only noise_samples hold noise. Of the
  // analytic noise's slope, four times as large in power as one half of the spectrum, half falls on the envelope.
  const double scale = 2.0 / static_cast<double>(fft.size()) / static_cast<double>(noise_samples);
  return {std::sqrt(scale * power), std::sqrt(scale * slope)};
}

/// Slope, per sample, that everything after the main lobe at `peak` adds to the envelope there (rms, phases unknown).
/// The pulse of a Hann window over B Hz is sinc(x) / (1 - x^2), x = B t; beyond x = 2 its slope falls as
/// B / (x (x^2 - 1)). Samples of the envelope are B / 1.5 independent values a second.
double interference_slope(std::span<const double> squared, std::size_t peak, double bandwidth_hz, double rate_hz) {
  const double per_sample = bandwidth_hz / rate_hz;
  const auto lobe = static_cast<std::size_t>(std::ceil(2.0 / per_sample));
  const auto reach = static_cast<std::size_t>(std::ceil(200.0 / per_sample));
  double sum = 0.0;
  for (std::size_t n = peak + lobe; n < std::min(squared.size(), peak + reach); ++n) {
    const double x = per_sample * static_cast<double>(n - peak);
    const double falling = per_sample / (x * (x * x - 1.0));
    sum += 0.5 * squared[n] * falling * falling * per_sample / 1.5;
  }
  constexpr double seen = 0.6;  // of this bound, in 60 simulated rooms
  return seen * std::sqrt(sum);
}

/// How much later the lower half of a band peaks than the upper, near sample `at`, in samples. Looks at the
/// neighbourhood alone: what lies further off does not move these peaks.
double dispersion_near(std::span<const float> samples, Band band, Hertz rate, double at) {
  const auto around = static_cast<std::size_t>(0.01 * rate.value());
  const auto reach = static_cast<std::size_t>(0.3e-3 * rate.value());
  const auto middle = static_cast<std::size_t>(at);
  const std::size_t first = middle > around ? middle - around : 0;
  const std::size_t size = std::min(2 * around, samples.size() - first);
  const RealFft fft{good_fft_size(2 * around)};
  const auto bins = spectrum(fft, samples.subspan(first, size));
  const auto peak_in = [&](Band part) {
    const auto magnitude = envelope(hann_band_analytic(fft, bins, part, rate));
    const std::size_t from = middle - first > reach ? middle - first - reach : 1;
    const std::size_t to = std::min(middle - first + reach, magnitude.size() - 2);
    std::size_t n = from;
    for (std::size_t i = from; i <= to; ++i) {
      if (magnitude[i] > magnitude[n]) n = i;
    }
    return static_cast<double>(n) +
           vertex(std::log(magnitude[n - 1]), std::log(magnitude[n]), std::log(magnitude[n + 1]));
  };
  const Hertz half{0.5 * (band.low.value() + band.high.value())};
  return peak_in({band.low, half}) - peak_in({half, band.high});
}

}  // namespace

std::optional<Arrival> full_range_arrival(const Takes& takes, Band band) {
  return full_range_arrival(takes, TakeSpectra{takes}, band);
}

std::optional<Arrival> full_range_arrival(const Takes& takes, const TakeSpectra& spectra, Band band) {
  const Hertz rate{takes.sample_rate_hz};
  const Band upper = upper_band(band);
  const std::vector<double> gains = hann_band_gains(spectra.fft, upper, rate);
  AnalyticSignal signal = hann_band_analytic(spectra.fft, spectra.mean, upper, rate, gains);
  const BandNoise noise = noise_in(spectra, upper, gains, takes.noise.size(), rate);

  const std::size_t size = takes.mean.size();
  auto& squared = signal.in_phase;  // of the envelope; no root is wanted but at its peak
  for (std::size_t n = 0; n < size; ++n) {
    squared[n] = squared[n] * squared[n] + signal.quadrature[n] * signal.quadrature[n];
  }
  const double highest =
      std::sqrt(Eigen::Map<const Eigen::ArrayXd>{squared.data(), static_cast<Eigen::Index>(size)}.maxCoeff());
  const double threshold = std::max(direct_below_highest * highest, above_noise * noise.rms);
  if (highest <= threshold || highest <= 0.0) return {};

  for (std::size_t n = 1; n + 1 < size; ++n) {
    if (squared[n] < threshold * threshold || squared[n] < squared[n - 1] || squared[n] <= squared[n + 1]) continue;
    const double before = std::log(squared[n - 1]);
    const double middle = std::log(squared[n]);
    const double after = std::log(squared[n + 1]);
    const double height = std::sqrt(squared[n]);
    const double bend = 2.0 * height - std::sqrt(squared[n - 1]) - std::sqrt(squared[n + 1]);
    const double later_slope =
        interference_slope(std::span{squared}.first(size), n, (upper.high - upper.low).value(), rate.value());
    Arrival arrival;
    arrival.index = static_cast<double>(n) + vertex(before, middle, after);
    arrival.uncertainty_samples = bend > 0.0 ? std::hypot(noise.envelope_slope, later_slope) / bend : 1.0;
    arrival.height_db = 20.0 * std::log10(height);
    arrival.signal_to_noise_db = 20.0 * std::log10(height / std::max(noise.rms, 1e-15));
    arrival.dispersion_samples = dispersion_near(takes.mean, upper, rate, arrival.index);
    return arrival;
  }
  return {};
}

double detection_limit_db(const Takes& takes, const TakeSpectra& spectra, Band band) {
  const Hertz rate{takes.sample_rate_hz};
  const Band upper = upper_band(band);
  const std::vector<double> gains = hann_band_gains(spectra.fft, upper, rate);
  const BandNoise noise = noise_in(spectra, upper, gains, takes.noise.size(), rate);
  return 20.0 * std::log10(above_noise * noise.rms + 1e-15);
}

}  // namespace ringtrue
