#include "neutral_response.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "filters.hpp"
#include "ringtrue/calibration/response_comparison.hpp"
#include "ringtrue/dsp/real_fft.hpp"

namespace ringtrue {
namespace {

using Complex = std::complex<double>;

/// Response of an equaliser at bin k of a transform.
Complex equaliser_at(const Cascade& cascade, std::size_t k, const RealFft& fft, double rate_hz,
                     double interface_rate_hz) {
  const double f = static_cast<double>(k) * rate_hz / static_cast<double>(fft.size());
  return frequency_response(cascade, Hertz{std::min(f, 0.5 * interface_rate_hz)}, Hertz{interface_rate_hz});
}

/// Pink-weighted power of bins in a band; `shape` multiplies each bin's power.
template <class Shape>
double pink_db(std::span<const Complex> bins, const RealFft& fft, double rate_hz, Band band, const Shape& shape) {
  double power = 0.0;
  double weights = 0.0;
  for (std::size_t k = 1; k < bins.size(); ++k) {
    const double f = static_cast<double>(k) * rate_hz / static_cast<double>(fft.size());
    if (f < band.low.value() || f > band.high.value()) continue;
    power += std::norm(bins[k]) * shape(k) / f;
    weights += 1.0 / f;
  }
  return weights > 0.0 && power > 0.0 ? 10.0 * std::log10(power / weights) : -200.0;
}

}  // namespace

double response_level_db(const ImpulseResponse& response, SpeakerKind kind) {
  const RealFft fft{good_fft_size(response.samples.size())};
  const auto bins = spectrum(fft, std::span<const float>{response.samples});
  return pink_db(bins, fft, response.sample_rate_hz, level_band_of(kind), [](std::size_t) { return 1.0; });
}

double equaliser_effect_db(const ImpulseResponse& response, const std::vector<Filter>& equaliser, SpeakerKind kind,
                           double interface_rate_hz) {
  if (equaliser.empty() || response.samples.empty()) return 0.0;
  const RealFft fft{good_fft_size(response.samples.size())};
  const auto bins = spectrum(fft, std::span<const float>{response.samples});
  const Cascade cascade = cascade_of(equaliser, interface_rate_hz);
  const auto shaped = [&](std::size_t k) {
    return std::norm(equaliser_at(cascade, k, fft, response.sample_rate_hz, interface_rate_hz));
  };
  const auto plain = [](std::size_t) { return 1.0; };
  return pink_db(bins, fft, response.sample_rate_hz, level_band_of(kind), shaped) -
         pink_db(bins, fft, response.sample_rate_hz, level_band_of(kind), plain);
}

SpeakerMeasurement without_settings(SpeakerMeasurement measured, const Settings& settings, const Speaker& speaker,
                                    double interface_rate_hz) {
  if (!measured.heard || !measured.arrival_ms) return measured;
  const double trim_db = settings.trim_db.value_or(0.0);
  const double delay_ms = settings.delay_ms.value_or(0.0);
  ImpulseResponse& response = measured.response;
  const double gain = (settings.invert ? -1.0 : 1.0) * amplitude_ratio(Decibels{-trim_db});
  const std::optional<ArrivedResponse> with = at_arrival(measured);
  const double level_with_db = response.samples.empty() ? 0.0 : response_level_db(response, speaker.kind);
  if (!settings.equaliser.empty() && !response.samples.empty()) {
    const RealFft fft{good_fft_size(2 * response.samples.size())};
    auto bins = spectrum(fft, std::span<const float>{response.samples});
    const Cascade cascade = cascade_of(settings.equaliser, interface_rate_hz);
    for (std::size_t k = 0; k < bins.size(); ++k) {
      bins[k] /= equaliser_at(cascade, k, fft, response.sample_rate_hz, interface_rate_hz);
    }
    std::vector<double> samples(fft.size());
    fft.inverse(bins, samples);
    for (std::size_t n = 0; n < response.samples.size(); ++n) response.samples[n] = static_cast<float>(samples[n]);
  }
  if (measured.level_db && !response.samples.empty()) {
    measured.level_db->value += response_level_db(response, speaker.kind) - level_with_db - trim_db;
  } else if (measured.level_db) {
    measured.level_db->value -= trim_db;
  }
  for (float& sample : response.samples) sample = static_cast<float>(gain * static_cast<double>(sample));
  if (!settings.equaliser.empty() && with && speaker.kind == SpeakerKind::main) {
    const ResponseDifference shift = compare_responses(*at_arrival(measured), *with, speaker.kind, speaker.band);
    if (shift.likeness > 0.5 && std::abs(shift.later_ms) < 0.2) measured.arrival_ms->value -= shift.later_ms;
  }
  measured.arrival_ms->value -= delay_ms;
  response.first_sample_ms -= delay_ms;
  if (settings.invert && measured.sign != WooferSign::unsure) {
    measured.sign = measured.sign == WooferSign::positive ? WooferSign::negative : WooferSign::positive;
  }
  return measured;
}

}  // namespace ringtrue
