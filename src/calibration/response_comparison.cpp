#include "ringtrue/calibration/response_comparison.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "filters.hpp"
#include "ringtrue/dsp/real_fft.hpp"
#include "ringtrue/response/deconvolution.hpp"

namespace ringtrue {
namespace {

using Complex = std::complex<double>;
using Bins = std::vector<Complex>;

constexpr double length_s = 0.8;
constexpr double highest_compared_hz = 20'000.0;
constexpr double rate_hz = 48'000.0;  // of the time line on which windows are cut
constexpr double lead_s = 0.05;       // kept before the arrival
constexpr double treble_from_hz = 250.0;
constexpr double windows_may_differ_s = 5e-5;  // between two responses that are compared

/// Where a window opens and closes around the arrival, seconds: 0 before `opens`, 1 until `fades`, 0 after `ends`.
struct TimeWindow {
  double opens;
  double open;
  double fades;
  double ends;
};
constexpr TimeWindow treble_window{-0.003, -0.0015, 0.010, 0.025};
constexpr TimeWindow bass_window{-0.03, -0.015, 0.12, 0.25};

double gain_at(const TimeWindow& window, double t_s) {
  if (t_s <= window.opens || t_s >= window.ends) return 0.0;
  if (t_s < window.open)
    return 0.5 - 0.5 * std::cos(std::numbers::pi * (t_s - window.opens) / (window.open - window.opens));
  if (t_s <= window.fades) return 1.0;
  return 0.5 + 0.5 * std::cos(std::numbers::pi * (t_s - window.fades) / (window.ends - window.fades));
}

/// Spectra of a response's parts, as windowed for treble and for bass, and the noise in the latter.
struct Windowed {
  Bins treble;
  Bins bass;
  std::vector<double> bass_noise;  // power
};

Bins cut(const RealFft& fft, const std::vector<double>& line, const TimeWindow& window, std::size_t count) {
  std::vector<double> part(line.size());
  for (std::size_t n = 0; n < line.size(); ++n) {
    part[n] = line[n] * gain_at(window, static_cast<double>(n) / rate_hz - lead_s);
  }
  const Spectrum whole = spectrum(fft, std::span<const double>{part});
  Bins bins{whole.begin(), whole.end()};
  bins.resize(count);
  return bins;
}

double energy_s(const TimeWindow& window) {
  return window.fades - window.open + 0.375 * (window.open - window.opens + window.ends - window.fades);
}

/// Power of the noise in the bass window, from the end of the response; means over 25 Hz, up to where it serves.
std::vector<double> noise_in_bass(const RealFft& fft, const std::vector<double>& line, double end_s,
                                  std::size_t count) {
  const double ends = std::min(end_s, length_s - lead_s) - 0.005;
  const TimeWindow tail{ends - 0.20, ends - 0.17, ends - 0.03, ends};
  const Bins bins = cut(fft, line, tail, count);
  const double scale = energy_s(bass_window) / energy_s(tail);
  constexpr std::size_t reach = 10;
  std::vector<double> power(std::min(count, static_cast<std::size_t>(treble_from_hz * 1.2 * length_s)));
  for (std::size_t k = 0; k < power.size(); ++k) {
    const std::size_t from = k > reach ? k - reach : 1;
    for (std::size_t i = from; i <= k + reach; ++i) power[k] += std::norm(bins[i]);
    power[k] *= scale / static_cast<double>(k + reach + 1 - from);
  }
  return power;
}

Windowed windowed(const ArrivedResponse& response) {
  const RealFft fft{static_cast<std::size_t>(length_s * rate_hz)};
  Bins bins(fft.bin_count());
  for (std::size_t k = 0; k < response.bins.size(); ++k) {
    const double turn = -2.0 * std::numbers::pi * ArrivedResponse::frequency_hz(k) * lead_s;
    bins[k] = response.bins[k] * std::polar(1.0, turn);
  }
  std::vector<double> line(fft.size());
  fft.inverse(bins, line);
  const std::size_t count = response.bins.size();
  return {cut(fft, line, treble_window, count), cut(fft, line, bass_window, count),
          noise_in_bass(fft, line, response.end_s, count)};
}

/// Bins of one twelfth of an octave, and what the two responses have in them.
struct BandSums {
  std::size_t first = 0;
  std::size_t end = 0;
  double centre_hz = 0.0;
  bool bass = false;
};

std::vector<BandSums> bands_in(Band flat, std::size_t bins) {
  std::vector<BandSums> bands;
  const double low_hz = std::max(flat.low.value(), 22.0);
  const double high_hz = std::min(flat.high.value(), 16'500.0);
  for (int k = -72; k <= 60; ++k) {
    const double centre = 1'000.0 * std::exp2(k / 12.0);
    const double from = centre * std::exp2(-1.0 / 24.0);
    const double to = centre * std::exp2(1.0 / 24.0);
    if (from < low_hz || to > high_hz) continue;
    const auto first = static_cast<std::size_t>(std::ceil(from * length_s));
    const auto end = std::min(bins, static_cast<std::size_t>(std::ceil(to * length_s)));
    if (first < end) bands.push_back({first, end, centre, centre < treble_from_hz});
  }
  return bands;
}

/// Cross-spectrum of measured against expected, each band brought to the same weight a bin.
Bins cross_spectrum(const Windowed& expected, const Windowed& measured, const std::vector<BandSums>& bands,
                    std::size_t bins) {
  Bins cross(bins);
  for (const BandSums& band : bands) {
    const Bins& e = band.bass ? expected.bass : expected.treble;
    const Bins& m = band.bass ? measured.bass : measured.treble;
    double powers = 0.0;
    double power_e = 0.0;
    for (std::size_t k = band.first; k < band.end; ++k) {
      powers += std::norm(m[k]);
      power_e += std::norm(e[k]);
    }
    const double scale = std::sqrt(powers * power_e) / static_cast<double>(band.end - band.first);
    if (!(scale > 0.0)) continue;
    for (std::size_t k = band.first; k < band.end; ++k) cross[k] = m[k] * std::conj(e[k]) / scale;
  }
  return cross;
}

struct Lag {
  double later_s = 0.0;
  bool inverted = false;
};

/// Newton's method on J(t) = sum Re(C exp(2 pi i f t)) from a start within a sample of its extreme.
double refine(const Bins& cross, double start_s) {
  double t = start_s;
  for (int step = 0; step < 6; ++step) {
    double slope = 0.0;
    double bend = 0.0;
    for (std::size_t k = 1; k < cross.size(); ++k) {
      if (cross[k] == Complex{}) continue;
      const double w = 2.0 * std::numbers::pi * ArrivedResponse::frequency_hz(k);
      const Complex turned = cross[k] * std::polar(1.0, w * t);
      slope -= w * turned.imag();
      bend -= w * w * turned.real();
    }
    if (bend == 0.0) break;
    const double move = slope / bend;
    if (std::abs(t - move - start_s) > 1.0 / rate_hz * 1.5) break;
    t -= move;
  }
  return t;
}

Lag find_lag(const Bins& cross, double reach_s) {
  const RealFft fft{static_cast<std::size_t>(length_s * rate_hz)};
  Bins bins(fft.bin_count());
  std::ranges::copy(cross, bins.begin());
  std::vector<double> correlation(fft.size());
  fft.inverse(bins, correlation);
  const auto reach = static_cast<std::ptrdiff_t>(reach_s * rate_hz);
  std::ptrdiff_t best = 0;
  const auto at = [&](std::ptrdiff_t n) {
    return correlation[static_cast<std::size_t>((n + std::ssize(correlation)) % std::ssize(correlation))];
  };
  for (std::ptrdiff_t n = -reach; n <= reach; ++n) {
    if (std::abs(at(n)) > std::abs(at(best))) best = n;
  }
  const bool inverted = at(best) < 0.0;
  return {refine(cross, static_cast<double>(best) / rate_hz), inverted};
}

/// Level and coherence of each band, measured brought forward by the lag.
struct Compared {
  std::vector<BandDifference> bands;
  double likeness = 0.0;
  double lag_uncertainty_s = 0.0;
};

Compared compare_bands(const Windowed& expected, const Windowed& measured, const std::vector<BandSums>& bands,
                       const std::vector<BandSums>& timed, Lag lag) {
  Compared result;
  double coherent = 0.0;
  double information = 0.0;
  const double sign = lag.inverted ? -1.0 : 1.0;
  for (const BandSums& band : bands) {
    const Bins& e = band.bass ? expected.bass : expected.treble;
    const Bins& m = band.bass ? measured.bass : measured.treble;
    Complex sum;
    double power_e = 0.0;
    double power_m = 0.0;
    for (std::size_t k = band.first; k < band.end; ++k) {
      const double w = 2.0 * std::numbers::pi * ArrivedResponse::frequency_hz(k);
      sum += m[k] * std::conj(e[k]) * std::polar(sign, w * lag.later_s);
      power_e += std::norm(e[k]);
      power_m += std::norm(m[k]);
    }
    if (!(power_e > 0.0 && power_m > 0.0)) continue;
    const double coherence = std::clamp(std::norm(sum) / (power_e * power_m), 1e-6, 1.0 - 1e-9);
    // Neighbouring bins of a window of T seconds are alike: there are about T times the bandwidth independent ones.
    const double window_s = band.bass ? bass_window.fades : treble_window.fades;
    const double width_hz = static_cast<double>(band.end - band.first) / length_s;
    const double independent = std::max(1.0, width_hz * window_s);
    double relative = std::sqrt((1.0 - coherence) / (2.0 * coherence * independent));
    if (band.bass) {  // a bin or two say nothing of their own coherence
      double noise = 0.0;
      for (std::size_t k = band.first; k < band.end; ++k) {
        noise += expected.bass_noise[k] / power_e + measured.bass_noise[k] / power_m;
      }
      relative = std::max(relative, std::sqrt(noise / (2.0 * independent)));
    }
    result.bands.push_back(
        {band.centre_hz, 20.0 * std::log10(std::abs(sum) / power_e), 20.0 / std::numbers::ln10 * relative});
    coherent += std::sqrt(coherence);
    const bool in_time = std::ranges::any_of(timed, [&](const BandSums& other) { return other.first == band.first; });
    const double w = 2.0 * std::numbers::pi * band.centre_hz;
    if (in_time) information += w * w / (relative * relative);
  }
  if (!result.bands.empty()) result.likeness = coherent / static_cast<double>(result.bands.size());
  result.lag_uncertainty_s = information > 0.0 ? 1.0 / std::sqrt(information) : 1.0;
  return result;
}

/// Median of the bands' levels, each counting by its uncertainty.
double weighted_median(std::vector<BandDifference> bands) {
  std::ranges::sort(bands, {}, &BandDifference::level_db);
  const auto weight = [](const BandDifference& band) { return 1.0 / (0.05 + band.uncertainty_db); };
  double all = 0.0;
  for (const auto& band : bands) all += weight(band);
  double sum = 0.0;
  for (const auto& band : bands) {
    sum += weight(band);
    if (2.0 * sum >= all) return band.level_db;
  }
  return 0.0;
}

/// The same sound, of which it is said that it arrives later.
ArrivedResponse arriving_later(ArrivedResponse response, double later_s) {
  response.arrival_ms += 1e3 * later_s;
  response.end_s -= later_s;
  for (std::size_t k = 0; k < response.bins.size(); ++k) {
    response.bins[k] *= std::polar(1.0, 2.0 * std::numbers::pi * ArrivedResponse::frequency_hz(k) * later_s);
  }
  return response;
}

}  // namespace

std::optional<ArrivedResponse> at_arrival(const SpeakerMeasurement& measured) {
  if (!measured.heard || !measured.arrival_ms || measured.response.samples.empty()) return std::nullopt;
  const ImpulseResponse& response = measured.response;
  const auto half = static_cast<std::size_t>(std::lround(0.5 * length_s * response.sample_rate_hz));
  const RealFft fft{2 * half};
  const auto samples = std::span<const float>{response.samples}.first(std::min(response.samples.size(), fft.size()));
  const Spectrum all = spectrum(fft, samples);
  ArrivedResponse result{measured.arrival_ms->value,
                         Bins(static_cast<std::size_t>(highest_compared_hz * length_s) + 1)};
  const double late_s = 1e-3 * (response.first_sample_ms - result.arrival_ms);
  result.end_s = late_s + static_cast<double>(samples.size()) / response.sample_rate_hz;
  for (std::size_t k = 0; k < std::min(all.size(), result.bins.size()); ++k) {
    result.bins[k] = all[k] * std::polar(1.0, -2.0 * std::numbers::pi * ArrivedResponse::frequency_hz(k) * late_s);
  }
  return result;
}

double equaliser_gain_db(const std::vector<Filter>& filters, double frequency_hz, double sample_rate_hz) {
  const Cascade cascade = cascade_of(filters, sample_rate_hz);
  return 20.0 * std::log10(std::abs(frequency_response(cascade, Hertz{frequency_hz}, Hertz{sample_rate_hz})));
}

ArrivedResponse through_settings(const ArrivedResponse& response, const Settings& settings, double sample_rate_hz) {
  ArrivedResponse result{response.arrival_ms + settings.delay_ms.value_or(0.0), response.bins, response.end_s};
  const double gain = (settings.invert ? -1.0 : 1.0) * amplitude_ratio(Decibels{settings.trim_db.value_or(0.0)});
  const Cascade cascade = cascade_of(settings.equaliser, sample_rate_hz);
  for (std::size_t k = 0; k < result.bins.size(); ++k) {
    const double f = std::min(ArrivedResponse::frequency_hz(k), 0.5 * sample_rate_hz);
    result.bins[k] *=
        gain * (cascade.empty() ? Complex{1.0} : frequency_response(cascade, Hertz{f}, Hertz{sample_rate_hz}));
  }
  return result;
}

ResponseDifference compare_responses(const ArrivedResponse& expected, const ArrivedResponse& said, SpeakerKind kind,
                                     Band band) {
  ArrivedResponse measured = said;
  const Windowed e = windowed(expected);
  Windowed m = windowed(measured);
  const auto bands = bands_in(flat_band(band), std::min(expected.bins.size(), measured.bins.size()));
  std::vector<BandSums> timed;
  std::ranges::copy_if(bands, std::back_inserter(timed), [&](const BandSums& part) {
    return kind == SpeakerKind::sub ? part.centre_hz < 160.0 : part.centre_hz > 1'200.0;
  });
  if (timed.empty()) timed = bands;
  const double reach_s = kind == SpeakerKind::sub ? 0.06 : 0.01;
  Lag lag = find_lag(cross_spectrum(e, m, timed, measured.bins.size()), reach_s);
  if (std::abs(lag.later_s) > windows_may_differ_s) {  // a sub's arrival is read through its filters: cut both alike
    measured = arriving_later(std::move(measured), lag.later_s);
    m = windowed(measured);
    lag = find_lag(cross_spectrum(e, m, timed, measured.bins.size()), reach_s);
  }
  const Compared compared = compare_bands(e, m, bands, timed, lag);

  ResponseDifference result;
  result.later_ms = measured.arrival_ms - expected.arrival_ms + 1e3 * lag.later_s;
  result.later_uncertainty_ms = 1e3 * compared.lag_uncertainty_s;
  result.inverted = lag.inverted;
  result.likeness = compared.likeness;
  result.bands = compared.bands;
  std::vector<BandDifference> levelled;
  std::ranges::copy_if(result.bands, std::back_inserter(levelled), [&](const BandDifference& part) {
    return kind == SpeakerKind::sub ? part.frequency_hz > 28.0 && part.frequency_hz < 90.0
                                    : part.frequency_hz > 300.0 && part.frequency_hz < 6'000.0;
  });
  if (levelled.empty()) levelled = result.bands;
  result.louder_db = weighted_median(levelled);
  double information = 0.0;
  for (const auto& part : levelled) information += 1.0 / (1e-6 + part.uncertainty_db * part.uncertainty_db);
  result.louder_uncertainty_db = information > 0.0 ? 1.25 / std::sqrt(information) : 99.0;
  return result;
}

}  // namespace ringtrue
