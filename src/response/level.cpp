#include "ringtrue/response/level.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>
#include <span>

#include "log_width.hpp"
#include "ringtrue/dsp/real_fft.hpp"

namespace ringtrue {

StretchLevels::StretchLevels(const Takes& takes, std::size_t from, std::size_t to) {
  const std::size_t length = std::min(to, takes.mean.size()) - from;
  // The same size whatever `from` is, and that of full_range_arrival: making a plan costs more than a transform.
  const RealFft fft{good_fft_size(takes.mean.size() + 512)};
  df_hz_ = takes.sample_rate_hz / static_cast<double>(fft.size());
  padding_ = static_cast<double>(fft.size()) / static_cast<double>(length);
  mean_ = spectrum(fft, std::span{takes.mean}.subspan(from, length));
  noise_ = spectrum(fft, std::span{takes.noise}.subspan(from, length));
}

/// Calls term(k, w) for every bin that reaches into the band. A bin stands for the band half a bin to each side of it;
/// at the band's edges only its part inside counts: w is the integral of df / f over that.
template <class Term>
void StretchLevels::over_bins(Band band, const Term& term) const {
  const auto first = static_cast<std::size_t>(std::max(1.0, std::floor(band.low.value() / df_hz_ - 0.5)));
  for (std::size_t k = first; k < mean_.size(); ++k) {
    const double f = static_cast<double>(k) * df_hz_;
    const double low = std::max(f - 0.5 * df_hz_, band.low.value());
    const double high = std::min(f + 0.5 * df_hz_, band.high.value());
    const bool whole = low > band.low.value() && high < band.high.value();
    if (high > low) term(k, whole ? log_width_of_bin(k) : std::log(high / low));
    if (f > band.high.value() + df_hz_) break;
  }
}

std::optional<BandLevel> StretchLevels::level(Band band) const {
  double signal = 0.0;    // sum w (|M|^2 - |N|^2)
  double weights = 0.0;   // sum w
  double noise = 0.0;     // sum w |N|^2: the noise in the mean
  double variance = 0.0;  // of `signal`: each bin w^2 (|H|^2 s2 + s2^2 / 2), s2 = 2 |N|^2 the noise of one take
  over_bins(band, [&](std::size_t k, double w) {
    const double noise_power = std::norm(noise_[k]);
    const double power = std::norm(mean_[k]) - noise_power;
    const double s2 = 2.0 * noise_power;
    signal += w * power;
    weights += w;
    noise += w * 0.5 * s2;
    variance += w * w * (std::max(power, 0.0) * s2 + 0.5 * s2 * s2);
  });
  if (!(signal > 0.0) || weights <= 0.0) return {};
  const double relative = std::sqrt(variance * padding_) / signal;  // bins are not independent
  return BandLevel{{10.0 * std::log10(signal / weights), 10.0 / std::numbers::ln10 * relative},
                   10.0 * std::log10(signal / std::max(noise, 1e-30 * signal))};
}

std::optional<double> StretchLevels::noise_db(Band band) const {
  double noise = 0.0;
  double weights = 0.0;
  over_bins(band, [&](std::size_t k, double w) {
    noise += w * std::norm(noise_[k]);
    weights += w;
  });
  if (!(noise > 0.0) || weights <= 0.0) return {};
  return 10.0 * std::log10(noise / weights);
}

std::optional<BandLevel> pink_band_level(const Takes& takes, Band band, std::size_t from, std::size_t to) {
  return StretchLevels{takes, from, to}.level(band);
}

std::optional<double> louder_by_db(const ImpulseResponse& response, Band band, Band other) {
  if (response.samples.empty()) return {};
  const std::size_t size = response.samples.size();
  const Takes takes{response.sample_rate_hz, 0, response.samples, std::vector<float>(size)};
  const StretchLevels levels{takes, 0, size};
  const auto level = levels.level(band);
  const auto reference = levels.level(other);
  if (!level || !reference) return {};
  return level->level_db.value - reference->level_db.value;
}

}  // namespace ringtrue
