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

/// Takes envelopes of 1 to 8 kHz (half amplitude there) of a stretch around the direct sound.
class StretchEnvelope {
 public:
  StretchEnvelope(std::size_t length, double rate_hz)
      : length_{length}, fft_{good_fft_size(2 * length)}, gains_(fft_.bin_count()), fades_(length, 1.0) {
    const double df = rate_hz / static_cast<double>(fft_.size());
    const TaperedGain gain{
        {Hertz{1'000.0 * std::exp2(-0.5)}, Hertz{8'000.0 * std::exp2(0.5)}}, taper_octaves, taper_octaves};
    const double scale = 1.0 / static_cast<double>(fft_.size());
    for (std::size_t k = 0; k < gains_.size(); ++k) gains_[k] = scale * gain.at(static_cast<double>(k) * df);
    const double fade = fade_s * rate_hz;
    for (std::size_t n = 0; n < length; ++n) {
      const double inside = std::min(static_cast<double>(n) / fade, static_cast<double>(length - n) / fade);
      if (inside < 1.0) fades_[n] = 0.5 - 0.5 * std::cos(std::numbers::pi * inside);
    }
  }

  /// @param stretch  of that length; index 0 of the envelope is its first sample
  [[nodiscard]] std::vector<double> operator()(std::span<const float> stretch) const {
    std::vector<double> faded(length_);
    for (std::size_t n = 0; n < length_; ++n) faded[n] = fades_[n] * static_cast<double>(stretch[n]);
    auto bins = spectrum(fft_, std::span<const double>{faded});
    for (std::size_t k = 0; k < bins.size(); ++k) bins[k] *= gains_[k];
    auto turned = bins;
    for (auto& bin : turned) bin = {bin.imag(), -bin.real()};
    AnalyticSignal signal{Scratch<double>(fft_.size()), Scratch<double>(fft_.size())};
    fft_.inverse_unscaled(bins, signal.in_phase);
    fft_.inverse_unscaled(turned, signal.quadrature);
    auto magnitude = envelope(signal);
    magnitude.resize(length_);
    return magnitude;
  }

 private:
  static constexpr double taper_octaves = 1.0;

  std::size_t length_;
  RealFft fft_;
  std::vector<double> gains_;
  std::vector<double> fades_;
};

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
  const StretchEnvelope envelope_of{to - from, rate_hz};
  const auto magnitude = envelope_of(std::span{takes.mean}.subspan(from, to - from));
  const double noise = rms(envelope_of(std::span{takes.noise}.subspan(from, to - from)));

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
