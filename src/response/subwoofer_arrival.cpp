#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <numbers>
#include <span>
#include <vector>

#include "ringtrue/dsp/band_filter.hpp"
#include "ringtrue/response/arrival.hpp"
#include "ringtrue/response/subwoofer_model.hpp"

namespace ringtrue {
namespace {

constexpr double above_noise = 5.0;
constexpr double model_rate_hz = 4'000.0;    // the fit runs on this grid: 20 times over a sub's highest corner
constexpr std::size_t starts_per_sample = 4;  // 1/16 ms
constexpr double longest_rise_s = 0.03;      // from onset to the first peak: 70 Hz low-pass and 18 Hz high-pass
constexpr double direct_below_highest = 0.4;  // the first lobe counts when it reaches -8 dB of the largest

struct Fit {
  double misfit = 1.0;  // residual energy over energy, in the fitted stretch
  double start_s = 0.0;
  double gain = 0.0;
};

double rms(std::span<const double> samples) {
  double sum = 0.0;
  for (const double x : samples) sum += x * x;
  return std::sqrt(sum / static_cast<double>(std::max<std::size_t>(samples.size(), 1)));
}

/// Index of the first lobe that matters, and of where it has fallen to half after its peak.
struct FirstLobe {
  std::size_t peak;
  std::size_t end;
};

std::optional<FirstLobe> first_lobe(std::span<const double> h, double noise_rms) {
  double highest = 0.0;
  for (const double x : h) highest = std::max(highest, std::abs(x));
  const double threshold = std::max(direct_below_highest * highest, above_noise * noise_rms);
  for (std::size_t n = 1; n + 1 < h.size(); ++n) {
    const double x = std::abs(h[n]);
    if (x < threshold || x < std::abs(h[n - 1]) || x < std::abs(h[n + 1])) continue;
    std::size_t end = n;
    while (end + 1 < h.size() && std::abs(h[end]) > 0.5 * x && h[end] * h[n] > 0.0) ++end;
    return FirstLobe{n, end};
  }
  return {};
}

/// Best start and gain of one model against h[0, end): gain by least squares, start by search.
Fit fit_model(std::span<const double> h, FirstLobe lobe, const std::vector<double>& model) {
  const std::size_t end = lobe.end;
  double energy = 0.0;
  for (std::size_t n = 0; n < end; ++n) energy += h[n] * h[n];
  Fit best;
  const auto last_start = static_cast<std::ptrdiff_t>(lobe.peak * starts_per_sample);
  const auto earliest = static_cast<std::ptrdiff_t>(longest_rise_s * model_rate_hz) * std::ptrdiff_t{starts_per_sample};
  for (auto start = last_start - earliest; start < last_start; ++start) {
    double cross = 0.0;
    double power = 0.0;
    for (std::size_t n = 0; n < end; ++n) {
      const std::ptrdiff_t m = static_cast<std::ptrdiff_t>(n * starts_per_sample) - start;
      if (m < 0 || m >= std::ssize(model)) continue;
      const double g = model[static_cast<std::size_t>(m)];
      cross += g * h[n];
      power += g * g;
    }
    if (power <= 0.0) continue;
    const double misfit = 1.0 - cross * cross / (power * energy);
    if (misfit < best.misfit) {
      best = {misfit, static_cast<double>(start) / (model_rate_hz * static_cast<double>(starts_per_sample)), cross / power};
    }
  }
  return best;
}

}  // namespace

std::optional<SubwooferOnset> subwoofer_onset(const Takes& takes, Band band) {
  const RealFft fft{good_fft_size(2 * takes.mean.size())};
  const Hertz rate{takes.sample_rate_hz};
  const Band wide{Hertz{band.low.value() * 0.7}, Hertz{band.high.value() * 1.1}};
  const auto filtered = [&](const std::vector<double>& samples) {
    return tapered_band(fft, spectrum(fft, std::span<const double>{samples}), wide, 0.5, 0.5, rate);
  };
  const auto fine = filtered(takes.mean);
  const auto fine_noise = filtered(takes.noise);

  // Thin out to the model's grid by picking samples (the band ends far below half of it), linear in between.
  const auto thin = [&](const std::vector<double>& samples) {
    std::vector<double> thinned;
    const double ratio = takes.sample_rate_hz / model_rate_hz;
    for (double n = 0.0; n + 1.0 < static_cast<double>(takes.mean.size()); n += ratio) {
      const auto i = static_cast<std::size_t>(n);
      const double part = n - std::floor(n);
      thinned.push_back((1.0 - part) * samples[i] + part * samples[i + 1]);
    }
    return thinned;
  };
  const std::vector<double> h = thin(fine);
  const std::vector<double> noise = thin(fine_noise);
  const auto lobe = first_lobe(h, rms(noise));
  if (!lobe) return {};

  std::vector<Fit> fits;
  for (const auto& model : subwoofer_models(band, model_rate_hz * static_cast<double>(starts_per_sample))) {
    fits.push_back(fit_model(h, *lobe, model));
  }
  const Fit& best = *std::ranges::min_element(fits, {}, &Fit::misfit);
  // Models that fit within twice the best misfit (and the noise's share) are as good as it: their spread is the doubt.
  double sum = 0.0, sum_of_squares = 0.0, count = 0.0;
  for (const Fit& fit : fits) {
    if (fit.misfit > 2.0 * best.misfit + 1e-4) continue;
    count += 1.0;
    sum += fit.start_s - best.start_s;
    sum_of_squares += (fit.start_s - best.start_s) * (fit.start_s - best.start_s);
  }
  constexpr double floor_s = 0.3e-3;  // early reflections blend into the first rise; seen in simulated rooms
  const double spread_s = std::sqrt(sum_of_squares / std::max(count, 1.0));
  const double peak = std::abs(h[lobe->peak]);
  return SubwooferOnset{{best.start_s * takes.sample_rate_hz, std::hypot(spread_s, floor_s) * takes.sample_rate_hz,
                         20.0 * std::log10(peak / std::max(rms(noise), 1e-15))},
                        best.gain};
}

std::optional<Arrival> subwoofer_arrival(const Takes& takes, Band band) {
  if (const auto onset = subwoofer_onset(takes, band)) return onset->arrival;
  return {};
}

}  // namespace ringtrue
