#include "ringtrue/correction/fir.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "ringtrue/dsp/real_fft.hpp"

namespace ringtrue {
namespace {

using Bins = std::vector<std::complex<double>>;

constexpr double early_ms = 0.25;

double gain_at(const GainCurve& curve, double frequency_hz) {
  const auto& f = curve.frequency_hz;
  const auto above = std::ranges::upper_bound(f, frequency_hz) - f.begin();
  if (above == 0) return curve.gain_db.front();
  if (above == std::ssize(f)) return curve.gain_db.back();
  const auto i = static_cast<std::size_t>(above);
  const double share = std::log(frequency_hz / f[i - 1]) / std::log(f[i] / f[i - 1]);
  return (1.0 - share) * curve.gain_db[i - 1] + share * curve.gain_db[i];
}

/// ln H of the minimum-phase system with this ln |H| on the bins.
Bins minimum_phase(const RealFft& fft, std::span<const double> log_magnitude) {
  Bins bins(log_magnitude.begin(), log_magnitude.end());
  std::vector<double> cepstrum(fft.size());
  fft.inverse(bins, cepstrum);
  const std::size_t half = fft.size() / 2;
  for (std::size_t n = 1; n < half; ++n) cepstrum[n] *= 2.0;
  std::fill(cepstrum.begin() + static_cast<std::ptrdiff_t>(half) + 1, cepstrum.end(), 0.0);
  fft.forward(cepstrum, bins);
  return bins;
}

std::size_t design_size(std::size_t taps) { return good_fft_size(std::max<std::size_t>(65'536, 8 * taps)); }

/// The filter on the bins of a transform: exp(ln H).
Bins designed(const RealFft& fft, const GainCurve& gain, Hertz sample_rate) {
  std::vector<double> log_magnitude;
  const double bin_hz = sample_rate.value() / static_cast<double>(fft.size());
  for (std::size_t k = 0; k < fft.bin_count(); ++k) {
    log_magnitude.push_back(std::numbers::ln10 / 20.0 * gain_at(gain, std::max(1e-3, static_cast<double>(k) * bin_hz)));
  }
  Bins bins = minimum_phase(fft, log_magnitude);
  for (auto& bin : bins) bin = std::exp(bin);
  return bins;
}

/// Fades: a half cosine over the first `rise` and the last `fall` samples.
void fade(std::vector<double>& taps, std::size_t rise, std::size_t fall) {
  for (std::size_t n = 0; n < rise; ++n) {
    taps[n] *= 0.5 - 0.5 * std::cos(std::numbers::pi * (static_cast<double>(n) + 0.5) / static_cast<double>(rise));
  }
  for (std::size_t n = 0; n < fall; ++n) {
    taps[taps.size() - 1 - n] *=
        0.5 - 0.5 * std::cos(std::numbers::pi * (static_cast<double>(n) + 0.5) / static_cast<double>(fall));
  }
}

/// `taps` samples around a circular response's zero, `delay` of them before it.
Fir cut_out(const RealFft& fft, Bins bins, std::size_t taps, std::size_t delay) {
  std::vector<double> time(fft.size());
  fft.inverse(bins, time);
  Fir fir{{}, delay};
  for (std::size_t n = 0; n < taps; ++n) fir.taps.push_back(time[(n + fft.size() - delay) % fft.size()]);
  fade(fir.taps, delay, (taps - delay) / 4);
  return fir;
}

/// 1 inside 600 Hz-7 kHz, falling to 0 at 400 Hz and 10 kHz.
double phase_share(double f) {
  const double up = std::clamp(std::log(f / 400.0) / std::log(600.0 / 400.0), 0.0, 1.0);
  const double down = std::clamp(std::log(10e3 / f) / std::log(10e3 / 7e3), 0.0, 1.0);
  return 0.25 * (1.0 - std::cos(std::numbers::pi * up)) * (1.0 - std::cos(std::numbers::pi * down));
}

/// The direct sound: 1 ms before the arrival to 4 ms after it, faded.
std::vector<double> direct_sound(const HeardResponse& response) {
  const auto from = static_cast<std::ptrdiff_t>(response.arrival_index - 1e-3 * response.sample_rate_hz);
  const auto count = static_cast<std::ptrdiff_t>(5e-3 * response.sample_rate_hz);
  std::vector<double> part;
  for (std::ptrdiff_t n = from; n < from + count; ++n) {
    const bool there = n >= 0 && n < std::ssize(response.samples);
    part.push_back(there ? static_cast<double>(response.samples[static_cast<std::size_t>(n)]) : 0.0);
  }
  fade(part, part.size() / 8, part.size() / 2);
  return part;
}

/// Removes the straight line of phase over frequency that fits best where the share is full.
void remove_delay(std::vector<double>& phase, double bin_hz) {
  double n = 0.0, x = 0.0, y = 0.0, xx = 0.0, xy = 0.0;
  for (std::size_t k = 0; k < phase.size(); ++k) {
    const double f = static_cast<double>(k) * bin_hz;
    if (f < 600.0 || f > 10e3) continue;
    const double w = 1.0 / f;
    n += w, x += w * f, y += w * phase[k], xx += w * f * f, xy += w * f * phase[k];
  }
  const double slope = (n * xy - x * y) / (n * xx - x * x);
  const double offset = 2.0 * std::numbers::pi * std::round((y - slope * x) / n / (2.0 * std::numbers::pi));
  for (std::size_t k = 0; k < phase.size(); ++k) phase[k] -= slope * static_cast<double>(k) * bin_hz + offset;
}

}  // namespace

Fir minimum_phase_fir(const GainCurve& gain, std::size_t taps, Hertz sample_rate) {
  const RealFft fft{design_size(taps)};
  return cut_out(fft, designed(fft, gain, sample_rate), taps, 0);
}

std::vector<double> excess_phase(const HeardResponse& response, std::size_t fft_size, Hertz sample_rate) {
  const RealFft fft{good_fft_size(16'384)};
  const double bin_hz = response.sample_rate_hz / static_cast<double>(fft.size());
  const auto bins = spectrum(fft, direct_sound(response));
  std::vector<double> log_magnitude;
  for (const auto& bin : bins) log_magnitude.push_back(0.5 * std::log(std::max(std::norm(bin), 1e-20)));
  const Bins smallest = minimum_phase(fft, log_magnitude);
  std::vector<double> phase;
  for (std::size_t k = 0; k < bins.size(); ++k) {
    const double wrapped = std::arg(bins[k]) - smallest[k].imag();
    const double before = phase.empty() ? 0.0 : phase.back();
    phase.push_back(wrapped - 2.0 * std::numbers::pi * std::round((wrapped - before) / (2.0 * std::numbers::pi)));
  }
  remove_delay(phase, bin_hz);
  std::vector<double> result;
  for (std::size_t k = 0; k < fft_size / 2 + 1; ++k) {
    const double f = static_cast<double>(k) * sample_rate.value() / static_cast<double>(fft_size);
    const double place = std::min(f / bin_hz, static_cast<double>(phase.size() - 2));
    const auto i = static_cast<std::size_t>(place);
    const double share = place - static_cast<double>(i);
    result.push_back(f < 400.0 || f > 10e3 ? 0.0 : phase_share(f) * ((1.0 - share) * phase[i] + share * phase[i + 1]));
  }
  return result;
}

Fir mixed_phase_fir(const GainCurve& gain, const HeardResponse& response, const PreRinging& bounds, std::size_t taps,
                    Hertz sample_rate) {
  const RealFft fft{design_size(taps)};
  const Bins plain = designed(fft, gain, sample_rate);
  const auto phase = excess_phase(response, fft.size(), sample_rate);
  const auto delay = std::min(taps / 4, static_cast<std::size_t>(bounds.longest_ms * 1e-3 * sample_rate.value()));
  for (int tenths = 10; tenths > 0; --tenths) {
    Bins bins = plain;
    for (std::size_t k = 0; k < bins.size(); ++k) bins[k] *= std::polar(1.0, -0.1 * tenths * phase[k]);
    Fir fir = cut_out(fft, std::move(bins), taps, delay);
    if (early_energy_db(fir, sample_rate) <= bounds.energy_db) return fir;
  }
  return cut_out(fft, plain, taps, delay);
}

double early_energy_db(const Fir& fir, Hertz sample_rate) {
  const auto margin = static_cast<std::size_t>(early_ms * 1e-3 * sample_rate.value());
  double early = 0.0, all = 0.0;
  for (std::size_t n = 0; n < fir.taps.size(); ++n) {
    all += fir.taps[n] * fir.taps[n];
    if (n + margin < fir.delay) early += fir.taps[n] * fir.taps[n];
  }
  return early > 0.0 ? 10.0 * std::log10(early / all) : -300.0;
}

std::complex<double> frequency_response(const Fir& fir, Hertz frequency, Hertz sample_rate) {
  const double step = -2.0 * std::numbers::pi * (frequency / sample_rate);
  const std::complex<double> z = std::polar(1.0, step);
  double re = 0.0, im = 0.0;
  for (auto tap = fir.taps.rbegin(); tap != fir.taps.rend(); ++tap) {  // Horner's scheme in 1/z
    const double next = re * z.real() - im * z.imag() + *tap;
    im = re * z.imag() + im * z.real();
    re = next;
  }
  return std::complex<double>{re, im} * std::polar(1.0, -step * static_cast<double>(fir.delay));
}

double largest_gain_db(const Fir& fir) {
  const RealFft fft{good_fft_size(4 * fir.taps.size())};
  double largest = 0.0;
  for (const auto& bin : spectrum(fft, fir.taps)) largest = std::max(largest, std::norm(bin));
  return 10.0 * std::log10(std::max(largest, 1e-30));
}

std::vector<double> gain_db(const Fir& fir, std::span<const double> frequency_hz, Hertz sample_rate) {
  const RealFft fft{good_fft_size(std::max<std::size_t>(65'536, 4 * fir.taps.size()))};
  const auto bins = spectrum(fft, fir.taps);
  std::vector<double> gains;
  for (const double f : frequency_hz) {
    const double place =
        std::min(f / sample_rate.value() * static_cast<double>(fft.size()), static_cast<double>(bins.size() - 2));
    const auto k = static_cast<std::size_t>(place);
    const double share = place - static_cast<double>(k);
    gains.push_back(10.0 *
                    std::log10(std::max((1.0 - share) * std::norm(bins[k]) + share * std::norm(bins[k + 1]), 1e-30)));
  }
  return gains;
}

}  // namespace ringtrue
