#include "ringtrue/response/measurement.hpp"

#include <algorithm>
#include <cmath>
#include <span>

#include "ringtrue/core/errors.hpp"
#include "ringtrue/core/parallel.hpp"
#include "ringtrue/response/fellows.hpp"
#include "ringtrue/response/measurement_findings.hpp"
#include "ringtrue/response/recording_checks.hpp"
#include "ringtrue/response/speaker_measures.hpp"
#include "ringtrue/response/steady_noise.hpp"
#include "ringtrue/response/sweep_pair.hpp"
#include "ringtrue/response/synchronisation.hpp"
#include "ringtrue/response/take_choice.hpp"
#include "ringtrue/response/takes.hpp"

namespace ringtrue {
namespace {

constexpr double before_s = 0.06;  // of the earliest arrival: noise, and what arrives early against it
constexpr double guard_s = 0.02;   // the next sweep's arrival stays out of the window

/// Deconvolvers for every sweep shape on one recorder clock; a microphone's response is taken out, a wire has none.
std::vector<Deconvolver> deconvolvers_for(const Stimulus& stimulus, double recorder_rate_hz,
                                          const MicrophoneResponse* microphone) {
  const ResponseWindow window{before_s, std::max(0.1, stimulus.decay.value() - before_s - guard_s)};
  std::vector<Deconvolver> deconvolvers;
  for (const SweepShape& shape : stimulus.shapes) {
    deconvolvers.emplace_back(shape, stimulus.sample_rate_hz, recorder_rate_hz, window, microphone);
  }
  return deconvolvers;
}

std::vector<PairResponse> respond_to_all(const Stimulus& stimulus, std::span<const SweepPair> pairs,
                                         std::span<const float> channel, const Synchronisation& sync,
                                         const std::vector<Deconvolver>& deconvolvers, unsigned threads) {
  std::vector<PairResponse> responses(pairs.size());
  parallel_for(pairs.size(), threads, [&](std::size_t i) {
    const SweepPair& pair = pairs[i];
    const Deconvolver& deconvolver = deconvolvers[stimulus.sweeps[pair.first].shape];
    responses[i] =
        respond(deconvolver, channel, sync.zero_frames[pair.first], sync.zero_frames[pair.second], sync.rate_hz);
  });
  return responses;
}

/// True when some pair's takes do not lie on each other: samples were lost that the quick look did not see.
bool out_of_step(const Stimulus& stimulus, std::span<const SweepPair> pairs, std::span<const PairResponse> responses,
                 const Synchronisation& sync) {
  constexpr double crop_before_s = 0.03;
  constexpr double crop_s = 0.08;
  constexpr double allowed_frames = 0.3;
  for (std::size_t i = 0; i < pairs.size(); ++i) {
    if (!sync.whole[pairs[i].first] || !sync.whole[pairs[i].second]) continue;
    const auto from = static_cast<std::size_t>((before_s - crop_before_s) * sync.rate_hz);
    const auto size = std::min(static_cast<std::size_t>(crop_s * sync.rate_hz), responses[i].first.size() - from);
    const Band band = flat_band(stimulus.shapes[stimulus.sweeps[pairs[i].first].shape].band);
    const PairLag lag = pair_lag(std::span{responses[i].first}.subspan(from, size),
                                 std::span{responses[i].second}.subspan(from, size), band, sync.rate_hz);
    if (lag.coherence > 0.5 && std::abs(lag.lag_samples) > allowed_frames + 5.0 * lag.uncertainty_samples) return true;
  }
  return false;
}

/// The recording with the microphone in its place: a loopback that reverberates and a microphone that does not were
/// exchanged on the way.
struct Channels {
  std::span<const float> microphone;
  std::span<const float> loopback;
  bool exchanged = false;
};

Channels sort_channels(const Stimulus& stimulus, const Recording& recording) {
  Channels channels{recording.microphone, recording.loopback, false};
  if (recording.loopback.empty()) return channels;
  const auto as_named = electrical_share(stimulus, recording.loopback, recording.sample_rate_hz);
  const auto other = electrical_share(stimulus, recording.microphone, recording.sample_rate_hz);
  constexpr double electrical = 0.97;  // of the energy within 1 ms: a wire has no room
  constexpr double acoustic = 0.9;
  if (other && as_named && *other > electrical && *as_named < acoustic) {
    std::swap(channels.microphone, channels.loopback);
    channels.exchanged = true;
  }
  return channels;
}

void refuse_silence(const Recording& recording, std::span<const float> microphone) {
  const auto [low, high] = std::ranges::minmax(microphone);
  if (low == high) {
    throw InvalidInput{recording.name, "the microphone channel is silent (every sample is the same)",
                       "check the microphone's cable, phantom power, input gain and channel number"};
  }
}

void shift_times(PositionMeasurement& measurement, double zero_ms) {
  for (SpeakerMeasurement& speaker : measurement.speakers) {
    if (speaker.arrival_ms) speaker.arrival_ms->value -= zero_ms;
    speaker.response.first_sample_ms -= zero_ms;
  }
}

/// Earliest arrival of the mains that are to be trusted, or of any speaker where there is no such main.
double earliest_arrival_ms(const Rig& rig, const PositionMeasurement& measurement) {
  std::optional<double> main;
  std::optional<double> any;
  for (std::size_t s = 0; s < rig.speakers.size(); ++s) {
    const SpeakerMeasurement& speaker = measurement.speakers[s];
    if (!speaker.arrival_ms) continue;
    const double arrival = speaker.arrival_ms->value;
    any = std::min(any.value_or(arrival), arrival);
    if (speaker.trusted && rig.speakers[s].kind == SpeakerKind::main) main = std::min(main.value_or(arrival), arrival);
  }
  return main.value_or(any.value_or(0.0));
}

}  // namespace

PositionMeasurement measure(const Rig& rig, const Stimulus& stimulus, const Recording& recording,
                            const MeasureOptions& options) {
  PositionMeasurement result;
  result.name = recording.name;
  const Channels channels = sort_channels(stimulus, recording);
  const bool has_loopback = !channels.loopback.empty();
  refuse_silence(recording, channels.microphone);

  const std::span<const float> clock_channel = has_loopback ? channels.loopback : channels.microphone;
  auto sync = synchronise(stimulus, clock_channel, recording.sample_rate_hz, Thoroughness::quick, options.threads);
  if (!sync) refuse_foreign_recording(recording, has_loopback);
  auto deconvolvers = deconvolvers_for(stimulus, sync->rate_hz, options.microphone);
  const std::vector<SweepPair> pairs = sweep_pairs(stimulus);
  auto responses = respond_to_all(stimulus, pairs, channels.microphone, *sync, deconvolvers, options.threads);
  if (out_of_step(stimulus, pairs, responses, *sync)) {
    sync = synchronise(stimulus, clock_channel, recording.sample_rate_hz, Thoroughness::thorough, options.threads);
    deconvolvers = deconvolvers_for(stimulus, sync->rate_hz, options.microphone);
    responses = respond_to_all(stimulus, pairs, channels.microphone, *sync, deconvolvers, options.threads);
  }
  refuse_if_smeared(recording, responses);

  const RecordingFaults faults = find_faults(channels.microphone, stimulus, *sync);
  const std::vector<TakeChoice> choices =
      choose_takes(stimulus, pairs, responses, faults, *sync, channels.microphone, deconvolvers.front().zero_index());
  result.clock_ppm = sync->timeline.clock_ppm;
  result.start_offset_ms = sync->start_lag_s * 1e3;
  result.speakers.resize(rig.speakers.size());
  parallel_for(pairs.size(), options.threads, [&](std::size_t i) {
    const std::size_t shape = stimulus.sweeps[pairs[i].first].shape;
    const auto takes =
        takes_of(i, responses, choices, stimulus, pairs, sync->rate_hz, deconvolvers[shape].zero_index());
    SpeakerMeasurement& speaker = result.speakers[pairs[i].speaker];
    if (!takes) {
      speaker.trusted = false;
      return;
    }
    speaker = measure_speaker(*takes, rig.speakers[pairs[i].speaker].kind, stimulus.shapes[shape].band,
                              recording.sample_rate_hz);
    speaker.trusted = choices[i].usable;
  });

  std::optional<double> zero_ms;
  if (has_loopback) {
    if (options.microphone != nullptr) deconvolvers = deconvolvers_for(stimulus, sync->rate_hz, nullptr);
    zero_ms = loopback_arrival_ms(stimulus, channels.loopback, deconvolvers, *sync, options.threads);
  }
  result.absolute_time = zero_ms.has_value();
  result.findings =
      recording_findings(rig, recording, stimulus, pairs, responses, choices, faults, *sync, channels.exchanged);
  compare_fellows(rig, result);
  widen_for_dispersion(rig, result);
  find_low_signal(rig, result);
  add_steady_noise(steady_noise(stimulus, *sync, channels.microphone), result);
  shift_times(result, zero_ms.value_or(earliest_arrival_ms(rig, result)));
  return result;
}

}  // namespace ringtrue
