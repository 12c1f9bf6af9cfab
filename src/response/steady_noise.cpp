#include "ringtrue/response/steady_noise.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>

#include "ringtrue/core/statistics.hpp"
#include "ringtrue/dsp/phase_ramp.hpp"
#include "ringtrue/dsp/real_fft.hpp"

namespace ringtrue {
namespace {

constexpr double stretch_s = 0.34;  // 50 and 60 Hz lie seven bins apart
constexpr double decayed_s = 0.25;  // after a sweep; its bass has had the rest of the sweep to die away
constexpr std::size_t most_stretches = 40;
constexpr double stands_out = 10.0;  // in power, of a line over its neighbourhood
constexpr int highest_multiple = 8;
constexpr double highest_hz = 1'000.0;  // of all that is looked at

std::size_t index_of(double position) { return position > 0.0 ? static_cast<std::size_t>(position) : 0; }

/// First frames of stretches of `length` frames in which nothing plays, the last of each silence.
std::vector<std::size_t> quiet_stretches(const Stimulus& stimulus, const Synchronisation& sync, std::size_t length,
                                         std::size_t frames) {
  std::vector<std::size_t> starts;
  double quiet_from = 0.0;
  const auto add_until = [&](double end) {
    const double from = end - static_cast<double>(length) - 0.01 * sync.rate_hz;
    if (from >= quiet_from && from + static_cast<double>(length) <= static_cast<double>(frames)) {
      starts.push_back(index_of(from));
    }
  };
  for (std::size_t i = 0; i < stimulus.sweeps.size(); ++i) {
    add_until(sync.zero_frames[i]);
    const auto sweep = static_cast<double>(stimulus.shapes[stimulus.sweeps[i].shape].samples.size());
    const double end = sync.zero_frames[i] + (sweep / stimulus.sample_rate_hz + decayed_s) * sync.rate_hz;
    quiet_from = std::max(quiet_from, end);
  }
  add_until(static_cast<double>(frames));
  const std::size_t stride = (starts.size() + most_stretches - 1) / most_stretches;
  std::vector<std::size_t> some;
  for (std::size_t i = 0; i < starts.size(); i += std::max<std::size_t>(1, stride)) some.push_back(starts[i]);
  return some;
}

/// Power in each of the first bins: the sum over a line's bins is its power. The median over the stretches.
std::vector<double> median_spectrum(std::span<const float> channel, std::span<const std::size_t> starts,
                                    std::size_t length, const RealFft& fft, std::size_t bins) {
  std::vector<double> window(length);
  double window_energy = 0.0;
  PhaseRamp phase{0.0, 2.0 * std::numbers::pi / static_cast<double>(length)};
  for (std::size_t n = 0; n < length; ++n) {
    window[n] = 0.5 - 0.5 * phase.next().real();
    window_energy += window[n] * window[n];
  }
  const double scale = 2.0 / (static_cast<double>(fft.size()) * window_energy);
  std::vector<double> powers(bins * starts.size());  // stretch after stretch
  std::vector<double> x(fft.size());
  for (std::size_t i = 0; i < starts.size(); ++i) {
    const auto stretch = channel.subspan(starts[i], length);
    for (std::size_t n = 0; n < length; ++n) x[n] = window[n] * static_cast<double>(stretch[n]);
    const auto heard = spectrum(fft, std::span<const double>{x});
    for (std::size_t k = 0; k < bins; ++k) powers[i * bins + k] = scale * std::norm(heard[k]);
  }
  std::vector<double> result;
  std::vector<double> values(starts.size());
  for (std::size_t k = 0; k < bins; ++k) {
    for (std::size_t i = 0; i < starts.size(); ++i) values[i] = powers[i * bins + k];
    result.push_back(median(values));
  }
  return result;
}

double median_between(std::span<const double> power, double df, double low_hz, double high_hz) {
  std::vector<double> values;
  for (std::size_t k = index_of(low_hz / df) + 1; k < power.size() && static_cast<double>(k) * df < high_hz; ++k) {
    values.push_back(power[k]);
  }
  return median(values);
}

struct Lines {
  double power = 0.0;
  std::vector<double> frequencies_hz;
};

/// The multiples of a mains frequency that stand out.
Lines find_lines(std::span<const double> power, double df, double mains_hz) {
  Lines lines;
  for (int multiple = 1; multiple <= highest_multiple; ++multiple) {
    const double f = multiple * mains_hz;
    const auto centre = static_cast<std::size_t>(std::lround(f / df));
    if (centre < 4 || centre + 3 >= power.size()) continue;
    const double below = median_between(power, df, f - 0.45 * mains_hz, f - 0.2 * mains_hz);
    const double above = median_between(power, df, f + 0.2 * mains_hz, f + 0.45 * mains_hz);
    const double floor = std::max(below, above);  // a slope of rumble is no line
    const double highest = std::max({power[centre - 1], power[centre], power[centre + 1]});
    if (highest <= stands_out * floor) continue;
    double sum = 0.0;
    for (std::size_t k = centre - 2; k <= centre + 2; ++k) sum += std::max(0.0, power[k] - floor);
    lines.power += sum;
    lines.frequencies_hz.push_back(f);
  }
  return lines;
}

/// Mean square while sweeps play, noise included.
double loudness_of_sweeps(const Stimulus& stimulus, const Synchronisation& sync, const SampleSurvey& survey) {
  double sum = 0.0;
  double count = 0.0;
  for (std::size_t i = 0; i < stimulus.sweeps.size(); ++i) {
    const auto samples = static_cast<double>(stimulus.shapes[stimulus.sweeps[i].shape].samples.size());
    const double end = sync.zero_frames[i] + samples / stimulus.sample_rate_hz * sync.rate_hz;
    const std::size_t last = std::min(index_of(end) / SampleSurvey::block_frames, survey.energy.size());
    for (std::size_t b = index_of(sync.zero_frames[i]) / SampleSurvey::block_frames + 1; b < last; ++b) {
      sum += static_cast<double>(survey.energy[b]);
      count += static_cast<double>(SampleSurvey::block_frames);
    }
  }
  return count > 0.0 ? sum / count : 0.0;
}

std::string frequencies(std::span<const double> lines_hz) {
  std::string words;
  for (const double f : lines_hz) words += fmt::format("{}{:.0f}", words.empty() ? "" : ", ", f);
  return words + " Hz";
}

double in_db(double ratio) { return 10.0 * std::log10(std::max(ratio, 1e-30)); }

}  // namespace

SteadyNoise steady_noise(const Stimulus& stimulus, const Synchronisation& sync, std::span<const float> microphone,
                         const SampleSurvey& survey) {
  SteadyNoise result;
  const std::size_t length = index_of(stretch_s * sync.rate_hz);
  const auto starts = quiet_stretches(stimulus, sync, length, microphone.size());
  const double loudness = loudness_of_sweeps(stimulus, sync, survey);
  if (starts.empty() || loudness <= 0.0) return result;
  const RealFft fft{good_fft_size(length)};
  const double df = sync.rate_hz / static_cast<double>(fft.size());
  const auto bins = std::min(fft.bin_count(), index_of(highest_hz / df) + 2);
  const auto power = median_spectrum(microphone, starts, length, fft, bins);

  Lines strongest;
  for (const double mains_hz : {50.0, 60.0}) {
    const Lines lines = find_lines(power, df, mains_hz);
    const bool fundamental = !lines.frequencies_hz.empty() && lines.frequencies_hz.front() < 2.5 * mains_hz;
    if (!fundamental || lines.power <= strongest.power) continue;
    strongest = lines;
    result.mains_hz = mains_hz;
  }
  if (result.mains_hz > 0.0) {
    result.lines_hz = strongest.frequencies_hz;
    result.hum_db = in_db(strongest.power / loudness);
  }

  constexpr double denser = 16.0;  // 12 dB
  if (median_between(power, df, 15.0, 100.0) <= denser * median_between(power, df, 300.0, highest_hz)) return result;
  double rest = 0.0;
  for (std::size_t k = index_of(10.0 / df); static_cast<double>(k) * df < 100.0; ++k) {
    const bool line =
        result.mains_hz > 0.0 && std::abs(std::remainder(static_cast<double>(k) * df, result.mains_hz)) < 2.5 * df;
    if (!line) rest += power[k];
  }
  result.rumble_db = in_db(rest / std::numbers::ln2 / loudness);  // the median of a noisy bin is ln 2 of its mean
  return result;
}

void add_steady_noise(const SteadyNoise& noise, PositionMeasurement& measurement) {
  constexpr double hum_note_db = -40.0;
  constexpr double hum_warn_db = -20.0;
  constexpr double rumble_note_db = -25.0;
  constexpr double rumble_warn_db = -8.0;
  const auto add = [&](bool warn, const char* code, std::string message) {
    measurement.findings.push_back({warn ? Severity::warn : Severity::note, warn ? "low-signal-to-noise" : code,
                                    std::nullopt, std::move(message)});
  };
  if (noise.hum_db > hum_note_db) {
    const bool warn = noise.hum_db > hum_warn_db;
    add(warn, "hum",
        fmt::format("{}: mains hum at {}, {:.0f} dB under the sweeps{}. Plug microphone amplifier, interface and "
                    "computer into one socket strip, use a balanced cable, and keep it away from power supplies.",
                    measurement.name, frequencies(noise.lines_hz), -noise.hum_db,
                    warn ? ": results at these frequencies are not sure" : ""));
  }
  if (noise.rumble_db > rumble_note_db) {
    const bool warn = noise.rumble_db > rumble_warn_db;
    add(warn, "rumble",
        fmt::format("{}: rumble below 100 Hz, {:.0f} dB {} the sweeps{}. Switch off ventilation, put the microphone's "
                    "stand on something soft, or measure when it is quieter.",
                    measurement.name, std::abs(noise.rumble_db), noise.rumble_db > 0.0 ? "over" : "under",
                    warn ? ": results in the bass are not sure" : ""));
  }
}

}  // namespace ringtrue
