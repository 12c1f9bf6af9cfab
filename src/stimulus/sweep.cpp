#include "ringtrue/stimulus/sweep.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <string>

#include "ringtrue/core/errors.hpp"

namespace ringtrue {
namespace {

// Fades in octaves of instantaneous frequency. Tuned on the side lobes of the deconvolved pulse: shorter ones ring at
// the band edge, longer ones cost signal where rooms are noisiest.
constexpr double low_fade_octaves = 0.5;
constexpr double high_fade_octaves = 0.12;

double half_cosine(double x) { return 0.5 - 0.5 * std::cos(std::numbers::pi * std::clamp(x, 0.0, 1.0)); }

}  // namespace

SweepShape sweep_at_rate(Band band, Seconds rate_constant, double peak, Hertz sample_rate) {
  const double f1 = band.low.value();
  const double f2 = band.high.value();
  const double fs = sample_rate.value();
  if (!(f1 > 0.0 && f1 < f2 && f2 <= fs / 2.0)) {
    throw InvalidInput{"sweep", "band " + std::to_string(f1) + "-" + std::to_string(f2) + " Hz does not fit",
                       "use 0 < low < high <= half the sample rate"};
  }
  const double L = rate_constant.value();
  if (!(L > 0.0)) throw InvalidInput{"sweep", "it takes no time", "give a positive length"};
  const double octave_s = L * std::numbers::ln2;
  const double T = L * std::log(f2 / f1);
  const auto frames = static_cast<std::size_t>(std::floor(T * fs)) + 1;
  SweepShape sweep{std::vector<double>(frames), band, Seconds{L}};
  for (std::size_t n = 0; n < frames; ++n) {
    const double t = static_cast<double>(n) / fs;
    const double cycles = f1 * L * std::exp(t / L);
    const double fade =
        half_cosine(t / (low_fade_octaves * octave_s)) * half_cosine((T - t) / (high_fade_octaves * octave_s));
    sweep.samples[n] = peak * fade * std::sin(2.0 * std::numbers::pi * std::fmod(cycles, 1.0));
  }
  return sweep;
}

SweepShape synchronised_sweep(Band band, Seconds rate_constant, double peak, Hertz sample_rate) {
  const double f1 = band.low.value();
  const double whole = std::max(1.0, std::round(f1 * rate_constant.value()));
  return sweep_at_rate(band, Seconds{f1 > 0.0 ? whole / f1 : 1.0}, peak, sample_rate);
}

}  // namespace ringtrue
