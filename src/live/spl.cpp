#include "ringtrue/live/spl.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "correlate.hpp"
#include "ringtrue/core/errors.hpp"
#include "ringtrue/dsp/real_fft.hpp"
#include "ringtrue/dsp/sound_level.hpp"

namespace ringtrue {
namespace {

constexpr double near_clipping = 0.98;
constexpr Band noise_band{Hertz{500.0}, Hertz{2'000.0}};  // ATSC A/85:2013, Table 10.2 (docs/live.md)

[[noreturn]] void refuse(const Recording& recording, const std::string& what, const std::string& remedy) {
  throw InvalidInput{recording.name, what, remedy};
}

void refuse_clipping(const Recording& recording) {
  for (const float sample : recording.microphone) {
    if (static_cast<double>(std::abs(sample)) < near_clipping) continue;
    refuse(recording, "the microphone's input is clipped", "turn its gain down by 10 dB and calibrate again");
  }
}

/// The longest stretch to the end of which something sounds: fast, within 10 dB of its highest.
std::span<const double> sounding(std::span<const double> samples, Hertz rate) {
  const auto fast = time_weighted_db(samples, TimeWeighting::fast, rate);
  const double limit_db = *std::ranges::max_element(fast) - 10.0;
  std::size_t end = fast.size();
  while (end > 0 && fast[end - 1] < limit_db) --end;
  std::size_t begin = end;
  while (begin > 0 && fast[begin - 1] >= limit_db) --begin;
  // The memory of 125 ms lags: 10 dB up take 13 ms, 10 dB down 0.29 s.
  const auto settled = static_cast<std::size_t>(0.3 * rate.value());
  if (end - begin <= 2 * settled) return samples.subspan(begin, end - begin);
  return samples.subspan(begin + settled, end - begin - 2 * settled);
}

double highest(const std::vector<double>& levels) { return *std::ranges::max_element(levels); }

/// Power of the tone between two frequencies and of everything else above 100 Hz, by a Hann-windowed spectrum.
struct Tone {
  double frequency_hz = 0.0;
  double power = 0.0;  // mean square
  double rest = 0.0;
};

Tone find_tone(std::span<const float> signal, double rate_hz) {
  const RealFft fft{good_fft_size(signal.size())};
  std::vector<double> windowed(signal.size());
  for (std::size_t n = 0; n < signal.size(); ++n) {
    const double phase = 2.0 * std::numbers::pi * static_cast<double>(n) / static_cast<double>(signal.size());
    windowed[n] = static_cast<double>(signal[n]) * (0.5 - 0.5 * std::cos(phase));
  }
  const auto bins = spectrum(fft, windowed);
  const double width_hz = rate_hz / static_cast<double>(fft.size());
  std::size_t peak = 1;
  for (std::size_t k = 1; k < bins.size(); ++k) {
    if (std::norm(bins[k]) > std::norm(bins[peak])) peak = k;
  }
  // sum |X|^2 over both sides = size * sum of squares; a Hann window keeps 3/8 of a signal's power.
  const double scale = 2.0 / (static_cast<double>(fft.size()) * static_cast<double>(signal.size()) * 0.375);
  Tone tone{static_cast<double>(peak) * width_hz, 0.0, 0.0};
  for (std::size_t k = 0; k < bins.size(); ++k) {
    const double f = static_cast<double>(k) * width_hz;
    if (f < 100.0) continue;
    (std::abs(f - tone.frequency_hz) < 20.0 ? tone.power : tone.rest) += scale * std::norm(bins[k]);
  }
  return tone;
}

/// Band-limited noise, pink by its spectrum, phases from a generator the C++ standard fixes; peak 1.
std::vector<double> pink_noise(std::size_t frames, double rate_hz) {
  const RealFft fft{good_fft_size(std::max<std::size_t>(frames, 2))};
  std::vector<std::complex<double>> bins(fft.bin_count());
  std::uint64_t state = 1;
  for (std::size_t k = 1; k < bins.size(); ++k) {
    const double f = static_cast<double>(k) * rate_hz / static_cast<double>(fft.size());
    state = state * 6'364'136'223'846'793'005U + 1'442'695'040'888'963'407U;  // D. E. Knuth's MMIX generator
    const double phase = 2.0 * std::numbers::pi * static_cast<double>(state >> 11U) / 9'007'199'254'740'992.0;
    if (f >= noise_band.low.value() && f <= noise_band.high.value()) bins[k] = std::polar(1.0 / std::sqrt(f), phase);
  }
  std::vector<double> samples(fft.size());
  fft.inverse(bins, samples);
  samples.resize(frames);
  const double fade = 0.05 * rate_hz;
  double peak = 0.0;
  for (std::size_t n = 0; n < frames; ++n) {
    const double edge = static_cast<double>(std::min(n, frames - 1 - n));
    if (edge < fade) samples[n] *= 0.5 - 0.5 * std::cos(std::numbers::pi * edge / fade);
    peak = std::max(peak, std::abs(samples[n]));
  }
  for (double& sample : samples) sample /= peak;
  return samples;
}

}  // namespace

MeterReading read_meter(std::span<const float> signal, double sample_rate_hz) {
  const Hertz rate{sample_rate_hz};
  const auto a = weighted(signal, FrequencyWeighting::a, rate);
  const auto c = weighted(signal, FrequencyWeighting::c, rate);
  const auto z = weighted(signal, FrequencyWeighting::z, rate);
  MeterReading reading;
  if (signal.empty()) return reading;
  reading.a_slow = time_weighted_db(a, TimeWeighting::slow, rate).back();
  reading.c_slow = time_weighted_db(c, TimeWeighting::slow, rate).back();
  reading.z_slow = time_weighted_db(z, TimeWeighting::slow, rate).back();
  reading.a_fast_highest = highest(time_weighted_db(a, TimeWeighting::fast, rate));
  reading.c_fast_highest = highest(time_weighted_db(c, TimeWeighting::fast, rate));
  reading.a_equivalent = equivalent_level_db(a);
  reading.c_equivalent = equivalent_level_db(c);
  return reading;
}

double full_scale_by_calibrator(const Recording& recording, double level_db) {
  refuse_clipping(recording);
  const std::span<const float> all{recording.microphone};
  const auto rate = static_cast<std::size_t>(recording.sample_rate_hz);
  if (all.size() < 2 * rate) refuse(recording, "is shorter than 2 s", "record the calibrator for five seconds");
  if (std::ranges::all_of(all, [](float sample) { return sample == 0.0F; })) {
    refuse(recording, "holds nothing but zeros", "check the input channel, mute and phantom power");
  }
  const Tone tone = find_tone(all, recording.sample_rate_hz);
  if (tone.frequency_hz < 990.0 || tone.frequency_hz > 1'010.0 || tone.power <= 100.0 * tone.rest) {
    refuse(recording,
           fmt::format("holds no clean tone of 1 kHz (the strongest is at {:.0f} Hz, {:.0f} dB over the rest)",
                       tone.frequency_hz, 10.0 * std::log10(tone.power / std::max(tone.rest, 1e-20))),
           "switch the calibrator on, push the microphone in to the stop, and check the input channel");
  }
  double lowest_power = 1e9;
  double highest_power = 0.0;
  for (std::size_t first = 0; first + rate <= all.size(); first += rate) {
    const double power = find_tone(all.subspan(first, rate), recording.sample_rate_hz).power;
    lowest_power = std::min(lowest_power, power);
    highest_power = std::max(highest_power, power);
  }
  const double spread_db = 10.0 * std::log10(highest_power / lowest_power);
  if (spread_db > 0.2) {
    refuse(recording, fmt::format("the tone wanders by {:.1f} dB", spread_db),
           "hold the calibrator still, change its battery, switch automatic gain off");
  }
  return level_db - 10.0 * std::log10(tone.power);
}

double full_scale_by_meter(const Recording& recording, double reading_db, double quiet_s) {
  refuse_clipping(recording);
  const std::span<const float> all{recording.microphone};
  const Hertz rate{recording.sample_rate_hz};
  if (all.size() < static_cast<std::size_t>(2.0 * rate.value())) {
    refuse(recording, "is shorter than 2 s", "record the noise for five seconds");
  }
  const auto heard = weighted(all, FrequencyWeighting::c, rate);
  constexpr double read_over_s = 3.0;
  auto noise = sounding(heard, rate);
  noise = noise.last(std::min(noise.size(), static_cast<std::size_t>(read_over_s * rate.value())));
  if (noise.size() < static_cast<std::size_t>(rate.value())) {
    refuse(recording, "holds no steady noise of a second or more",
           "play the noise for five seconds and record all of it");
  }
  const double level_db = equivalent_level_db(noise);
  const auto quiet = static_cast<std::size_t>(quiet_s * rate.value());
  if (quiet > 0) {
    const double before_db = equivalent_level_db(std::span{heard}.first(std::min(heard.size(), quiet)));
    if (level_db < before_db + 15.0) {
      refuse(recording,
             fmt::format("the noise stands only {:.0f} dB over what was there before it", level_db - before_db),
             "play it louder or measure when it is quieter");
    }
  }
  return reading_db - level_db;
}

Stimulus plan_pink_noise(const Rig& rig, std::size_t speaker, Decibels peak, Seconds quiet, Seconds length) {
  Stimulus stimulus = plan_silence(rig, quiet + length);
  const auto frames = static_cast<std::size_t>(length.value() * stimulus.sample_rate_hz);
  SweepShape shape{pink_noise(frames, stimulus.sample_rate_hz), noise_band, Seconds{1.0}};
  for (double& sample : shape.samples) sample *= amplitude_ratio(peak);
  stimulus.shapes.push_back(std::move(shape));
  stimulus.sweeps.push_back({speaker, 0, std::llround(quiet.value() * stimulus.sample_rate_hz)});
  return stimulus;
}

Stimulus plan_silence(const Rig& rig, Seconds length) {
  Stimulus stimulus;
  stimulus.sample_rate_hz = rig.interface.sample_rate_hz;
  stimulus.channels = channel_count(rig);
  stimulus.frames = std::llround(length.value() * stimulus.sample_rate_hz);
  return stimulus;
}

}  // namespace ringtrue
