#include "ringtrue/response/reflections.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <span>

#include "ringtrue/core/statistics.hpp"
#include "ringtrue/dsp/band_filter.hpp"

namespace ringtrue {
namespace {

constexpr double crop_before_s = 0.004;
constexpr double crop_after_s = 0.026;
constexpr double fade_s = 0.002;
constexpr double direct_within_s = 0.5e-3;
constexpr double first_s = 0.6e-3;
constexpr double last_s = 0.020;
constexpr double least_db = -20.0;
constexpr double prominence_db = 3.0;
constexpr double over_noise = 3.0;  // times rms: an envelope of noise hardly reaches that
constexpr std::size_t most = 12;

/// Envelope of 1 to 8 kHz (half amplitude there) around the direct sound; index 0 is `from` of the takes.
std::vector<double> band_envelope(std::span<const double> x, std::size_t from, std::size_t to, double rate_hz) {
  const RealFft fft{good_fft_size(2 * (to - from))};
  std::vector<double> crop(fft.size());
  const double fade = fade_s * rate_hz;
  for (std::size_t n = from; n < to; ++n) {
    const double inside = std::min({1.0, static_cast<double>(n - from) / fade, static_cast<double>(to - n) / fade});
    crop[n - from] = inside < 1.0 ? x[n] * (0.5 - 0.5 * std::cos(std::numbers::pi * inside)) : x[n];
  }
  const double df = rate_hz / static_cast<double>(fft.size());
  const Band band{Hertz{1'000.0 * std::exp2(-0.5)}, Hertz{8'000.0 * std::exp2(0.5)}};
  auto bins = spectrum(fft, std::span<const double>{crop});
  for (std::size_t k = 0; k < bins.size(); ++k) bins[k] *= tapered_gain(static_cast<double>(k) * df, band, 1.0, 1.0);
  auto turned = bins;
  for (auto& bin : turned) bin *= std::complex<double>{0.0, -1.0};
  AnalyticSignal signal{Scratch<double>(fft.size()), Scratch<double>(fft.size())};
  fft.inverse(bins, signal.in_phase);
  fft.inverse(turned, signal.quadrature);
  auto magnitude = envelope(signal);
  magnitude.resize(to - from);
  return magnitude;
}

double decibels(double ratio) { return 20.0 * std::log10(std::max(ratio, 1e-15)); }

/// How far, in dB, the peak at n rises out of the shallower of the dips between it and higher ground.
double prominence(std::span<const double> db, std::size_t n) {
  double left = db[n];
  for (std::size_t i = n; i-- > 0 && db[i] <= db[n];) left = std::min(left, db[i]);
  double right = db[n];
  for (std::size_t i = n + 1; i < db.size() && db[i] <= db[n]; ++i) right = std::min(right, db[i]);
  return db[n] - std::max(left, right);
}

}  // namespace

std::vector<Reflection> early_reflections(const Takes& takes, double arrival_index) {
  const double rate_hz = takes.sample_rate_hz;
  const auto frames = [&](double seconds) { return static_cast<std::size_t>(std::lround(seconds * rate_hz)); };
  const auto arrival = static_cast<std::size_t>(std::max(0.0, std::round(arrival_index)));
  if (arrival < frames(crop_before_s) || arrival + frames(crop_after_s) > takes.mean.size()) return {};
  const std::size_t from = arrival - frames(crop_before_s);
  const std::size_t to = arrival + frames(crop_after_s);
  const auto magnitude = band_envelope(takes.mean, from, to, rate_hz);
  const double noise = rms(band_envelope(takes.noise, from, to, rate_hz));

  std::size_t direct = arrival - from;
  for (std::size_t n = arrival - from - frames(direct_within_s); n <= arrival - from + frames(direct_within_s); ++n) {
    if (magnitude[n] > magnitude[direct]) direct = n;
  }
  if (magnitude[direct] <= over_noise * noise) return {};
  std::vector<double> db;
  for (const double m : magnitude) db.push_back(decibels(m / magnitude[direct]));

  std::vector<Reflection> found;
  const std::size_t end = std::min(db.size() - 1, direct + frames(last_s));
  for (std::size_t n = direct + frames(first_s); n < end; ++n) {
    if (db[n] < least_db || db[n] < db[n - 1] || db[n] <= db[n + 1]) continue;
    if (magnitude[n] < over_noise * noise || prominence(db, n) < prominence_db) continue;
    const double bend = db[n - 1] - 2.0 * db[n] + db[n + 1];
    const double vertex = bend < 0.0 ? 0.5 * (db[n - 1] - db[n + 1]) / bend : 0.0;
    found.push_back({(static_cast<double>(n - direct) + vertex) * 1e3 / rate_hz, db[n]});
  }
  std::ranges::stable_sort(found, std::ranges::greater{}, &Reflection::level_db);
  if (found.size() > most) found.resize(most);
  std::ranges::sort(found, {}, &Reflection::delay_ms);
  return found;
}

}  // namespace ringtrue
