#include "ringtrue/response/measurement.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <map>
#include <numeric>
#include <span>

#include "ringtrue/core/errors.hpp"
#include "ringtrue/core/parallel.hpp"
#include "ringtrue/response/arrival.hpp"
#include "ringtrue/response/clock.hpp"
#include "ringtrue/response/decay.hpp"
#include "ringtrue/response/deconvolution.hpp"
#include "ringtrue/response/level.hpp"
#include "ringtrue/response/polarity.hpp"
#include "ringtrue/response/subwoofer_model.hpp"
#include "ringtrue/response/takes.hpp"

namespace ringtrue {
namespace {

constexpr double before_s = 0.06;  // of the earliest arrival: noise, and what arrives early against it
constexpr double guard_s = 0.02;   // the next sweep's arrival stays out of the window

/// Deconvolvers for every sweep shape on one recorder clock.
std::vector<Deconvolver> deconvolvers_for(const Stimulus& stimulus, double recorder_rate_hz) {
  const ResponseWindow window{before_s, std::max(0.1, stimulus.decay.value() - before_s - guard_s)};
  std::vector<Deconvolver> deconvolvers;
  for (const SweepShape& shape : stimulus.shapes) {
    deconvolvers.emplace_back(shape, stimulus.sample_rate_hz, recorder_rate_hz, window);
  }
  return deconvolvers;
}

double start_of(const Stimulus& stimulus, std::size_t sweep) {
  return static_cast<double>(stimulus.sweeps[sweep].first_frame) / stimulus.sample_rate_hz;
}

/// Clock rate from the lag between each speaker's two sweeps, widest apart first; the first guess is the nominal rate.
Estimate estimate_clock_ppm(const Stimulus& stimulus, std::span<const float> channel, double nominal_rate_hz,
                            double start_lag_s, unsigned threads) {
  constexpr std::size_t most_pairs = 4;
  std::vector<SweepPair> pairs = sweep_pairs(stimulus);
  std::erase_if(pairs, [](const SweepPair& pair) { return pair.first == pair.second; });
  if (pairs.empty()) return {0.0, 100.0};
  const auto deconvolvers = deconvolvers_for(stimulus, nominal_rate_hz);

  std::vector<Estimate> found(std::min(pairs.size(), 2 * most_pairs));
  parallel_for(found.size(), threads, [&](std::size_t i) {
    const SweepPair& pair = pairs[i];
    const std::size_t shape = stimulus.sweeps[pair.first].shape;
    const auto at = [&](std::size_t sweep) {
      const double zero = (start_of(stimulus, sweep) + start_lag_s) * nominal_rate_hz;
      return deconvolvers[shape].response(channel, zero);
    };
    const Band band = flat_band(stimulus.shapes[shape].band);
    const PairLag lag = pair_lag(at(pair.first), at(pair.second), band, nominal_rate_hz);
    const double apart = (start_of(stimulus, pair.second) - start_of(stimulus, pair.first)) * nominal_rate_hz;
    found[i] = {lag.lag_samples / apart * 1e6, lag.coherence > 0.3 ? lag.uncertainty_samples / apart * 1e6 : 1e9};
  });
  double weights = 0.0, sum = 0.0;
  for (const Estimate& ppm : found) {
    if (ppm.uncertainty >= 1e9) continue;
    const double w = 1.0 / (ppm.uncertainty * ppm.uncertainty + 1e-12);
    weights += w;
    sum += w * ppm.value;
  }
  return weights > 0.0 ? Estimate{sum / weights, std::sqrt(1.0 / weights)} : Estimate{0.0, 100.0};
}

/// The measures of one speaker from its takes, times still in samples of the takes after `zero_index`.
SpeakerMeasurement measure_speaker(const Takes& takes, SpeakerKind kind, Band sweep_band, double nominal_rate_hz) {
  SpeakerMeasurement result;
  const Band flat = flat_band(sweep_band);
  const double to_ms = 1e3 / takes.sample_rate_hz;
  std::optional<Arrival> arrival;
  if (kind == SpeakerKind::sub) {
    if (const auto onset = subwoofer_onset(takes, sweep_band)) {
      arrival = onset->arrival;
      result.sign = onset->sign;
    }
  } else {
    arrival = full_range_arrival(takes, flat);
    if (arrival) result.sign = woofer_sign(takes, arrival->index, flat);
  }
  if (!arrival) return result;

  const Band level_band = kind == SpeakerKind::sub ? Band{Hertz{30.0}, Hertz{80.0}} : Band{Hertz{500.0}, Hertz{2e3}};
  const double lead_s = kind == SpeakerKind::sub ? before_s : 0.01;
  const auto from = static_cast<std::size_t>(std::max(0.0, std::floor(arrival->index - lead_s * takes.sample_rate_hz)));
  const auto level = pink_band_level(takes, level_band, from, takes.mean.size());
  if (!level) return result;

  result.heard = true;
  const double zero = static_cast<double>(takes.zero_index);
  result.arrival_ms = Estimate{(arrival->index - zero) * to_ms, arrival->uncertainty_samples * to_ms};
  result.level_db = level->level_db;
  result.signal_to_noise_db = level->signal_to_noise_db;
  result.decay_time_s = mid_decay_time_s(takes, arrival->index, flat);
  // At the recorder's nominal rate, with the arrival exactly in its place; the clock's ppm are left in the pitch.
  result.response.sample_rate_hz = nominal_rate_hz;
  result.response.first_sample_ms = result.arrival_ms->value - arrival->index * 1e3 / nominal_rate_hz;
  result.response.samples.assign(takes.mean.begin(), takes.mean.end());
  return result;
}

/// Arrival of the loopback after the same zero as the microphone's.
std::optional<double> loopback_arrival_ms(const Stimulus& stimulus, const Recording& recording,
                                          const std::vector<Deconvolver>& deconvolvers, double rate_hz,
                                          double start_lag_s, unsigned threads) {
  std::vector<std::optional<double>> arrivals(stimulus.sweeps.size());
  parallel_for(arrivals.size(), threads, [&](std::size_t i) {
    const Deconvolver& deconvolver = deconvolvers[stimulus.sweeps[i].shape];
    auto h = deconvolver.response(recording.loopback, (start_of(stimulus, i) + start_lag_s) * rate_hz);
    const Band band = flat_band(stimulus.shapes[stimulus.sweeps[i].shape].band);
    if (band.high.value() < 2'000.0) return;  // a sub's sweep is too dull to time an electrical path
    const Takes takes = combine(h, h, rate_hz, deconvolver.zero_index());
    if (const auto arrival = full_range_arrival(takes, band)) {
      arrivals[i] = (arrival->index - static_cast<double>(takes.zero_index)) / rate_hz * 1e3;
    }
  });
  std::vector<double> known;
  for (const auto& arrival : arrivals) {
    if (arrival) known.push_back(*arrival);
  }
  if (known.empty()) return {};
  const auto middle = known.begin() + std::ssize(known) / 2;
  std::ranges::nth_element(known, middle);
  return *middle;
}

void shift_times(PositionMeasurement& measurement, double zero_ms) {
  for (SpeakerMeasurement& speaker : measurement.speakers) {
    if (speaker.arrival_ms) speaker.arrival_ms->value -= zero_ms;
    speaker.response.first_sample_ms -= zero_ms;
  }
}

/// Earliest arrival of the mains, or of any speaker where no main is heard.
double earliest_arrival_ms(const Rig& rig, const PositionMeasurement& measurement) {
  std::optional<double> main, any;
  for (std::size_t s = 0; s < rig.speakers.size(); ++s) {
    const auto& arrival = measurement.speakers[s].arrival_ms;
    if (!arrival) continue;
    any = std::min(any.value_or(arrival->value), arrival->value);
    if (rig.speakers[s].kind == SpeakerKind::main) main = std::min(main.value_or(arrival->value), arrival->value);
  }
  return main.value_or(any.value_or(0.0));
}

}  // namespace

PositionMeasurement measure(const Rig& rig, const Stimulus& stimulus, const Recording& recording,
                            const MeasureOptions& options) {
  PositionMeasurement result;
  result.name = recording.name;
  const bool has_loopback = !recording.loopback.empty();
  const auto start_lag = find_start(stimulus, recording.microphone, recording.sample_rate_hz);
  if (!start_lag) {
    throw InvalidInput{recording.name, "the sweeps of this stimulus are not in the recording",
                       "check that stimulus and recording belong together and that the microphone was on"};
  }
  const std::span<const float> clock_channel = has_loopback ? recording.loopback : recording.microphone;
  result.clock_ppm = estimate_clock_ppm(stimulus, clock_channel, recording.sample_rate_hz, *start_lag, options.threads);
  const double rate_hz = recording.sample_rate_hz * (1.0 + 1e-6 * result.clock_ppm.value);

  const auto deconvolvers = deconvolvers_for(stimulus, rate_hz);
  const std::vector<SweepPair> pairs = sweep_pairs(stimulus);
  result.speakers.resize(rig.speakers.size());
  parallel_for(pairs.size(), options.threads, [&](std::size_t i) {
    const SweepPair& pair = pairs[i];
    const std::size_t shape = stimulus.sweeps[pair.first].shape;
    const Deconvolver& deconvolver = deconvolvers[shape];
    const auto take = [&](std::size_t sweep) {
      return deconvolver.response(recording.microphone, (start_of(stimulus, sweep) + *start_lag) * rate_hz);
    };
    const Takes takes = combine(take(pair.first), take(pair.second), rate_hz, deconvolver.zero_index());
    result.speakers[pair.speaker] =
        measure_speaker(takes, rig.speakers[pair.speaker].kind, stimulus.shapes[shape].band, recording.sample_rate_hz);
  });

  std::optional<double> zero_ms;
  if (has_loopback) {
    zero_ms = loopback_arrival_ms(stimulus, recording, deconvolvers, rate_hz, *start_lag, options.threads);
  }
  result.absolute_time = zero_ms.has_value();
  result.start_offset_ms = *start_lag * 1e3;
  shift_times(result, zero_ms.value_or(earliest_arrival_ms(rig, result)));
  return result;
}

}  // namespace ringtrue
