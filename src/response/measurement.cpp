#include "ringtrue/response/measurement.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <functional>
#include <numeric>
#include <optional>
#include <span>

#include "foreign_sweeps.hpp"
#include "ringtrue/core/errors.hpp"
#include "ringtrue/core/parallel.hpp"
#include "ringtrue/response/fellows.hpp"
#include "ringtrue/response/input_processing.hpp"
#include "ringtrue/response/interleaved.hpp"
#include "ringtrue/response/long_bass.hpp"
#include "ringtrue/response/measurement_findings.hpp"
#include "ringtrue/response/recording_checks.hpp"
#include "ringtrue/response/speaker_measures.hpp"
#include "ringtrue/response/steady_noise.hpp"
#include "ringtrue/response/sweep_pair.hpp"
#include "ringtrue/response/synchronisation.hpp"
#include "ringtrue/response/take_choice.hpp"
#include "ringtrue/response/takes.hpp"
#include "ringtrue/stimulus/overlap.hpp"

namespace ringtrue {
namespace {

constexpr double before_s = 0.06;  // of the earliest arrival: noise, and what arrives early against it
constexpr double guard_s = 0.02;   // the next sweep's arrival stays out of the window

/// Deconvolvers for every sweep shape on one recorder clock; a microphone's response is taken out, a wire has none.
std::vector<Deconvolver> deconvolvers_for(const Stimulus& stimulus, double recorder_rate_hz,
                                          const MicrophoneResponse* microphone, unsigned threads) {
  return parallel_map(stimulus.shapes.size(), threads, [&](std::size_t i) {
    const SweepShape& shape = stimulus.shapes[i];
    const ResponseWindow window{before_s, std::max(0.1, stimulus.decay.value() - before_s - guard_s),
                                harmonics_need_s(shape.rate_constant)};
    return Deconvolver{shape, stimulus.sample_rate_hz, recorder_rate_hz, window, microphone};
  });
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
                 const Synchronisation& sync, unsigned threads) {
  constexpr double crop_before_s = 0.03;
  constexpr double crop_s = 0.08;
  constexpr double allowed_frames = 0.3;
  std::vector<PairLag> lags(pairs.size());
  parallel_for(pairs.size(), threads, [&](std::size_t i) {
    if (!sync.whole[pairs[i].first] || !sync.whole[pairs[i].second]) return;
    const auto from = static_cast<std::size_t>((before_s - crop_before_s) * sync.rate_hz);
    const auto size = std::min(static_cast<std::size_t>(crop_s * sync.rate_hz), responses[i].first.size() - from);
    const Band band = flat_band(stimulus.shapes[stimulus.sweeps[pairs[i].first].shape].band);
    lags[i] = pair_lag(std::span{responses[i].first}.subspan(from, size),
                       std::span{responses[i].second}.subspan(from, size), band, sync.rate_hz);
  });
  return std::ranges::any_of(lags, [](const PairLag& lag) {
    return lag.coherence > 0.5 && std::abs(lag.lag_samples) > allowed_frames + 5.0 * lag.uncertainty_samples;
  });
}

/// The recording with the microphone in its place: a loopback that reverberates and a microphone that does not were
/// exchanged on the way.
struct Channels {
  std::span<const float> microphone;
  std::span<const float> loopback;
  bool exchanged = false;
  std::optional<double> loopback_start_s{};  // of the sweeps in the loopback, where it was looked for
};

Channels sort_channels(const Stimulus& stimulus, const Recording& recording, unsigned threads) {
  Channels channels{recording.microphone, recording.loopback};
  if (recording.loopback.empty()) return channels;
  constexpr double electrical = 0.97;  // of the energy within 1 ms: a wire has no room
  constexpr double acoustic = 0.9;
  const double rate_hz = recording.sample_rate_hz;
  channels.loopback_start_s = find_start(stimulus, recording.loopback, rate_hz, {}, threads);
  if (!channels.loopback_start_s) return channels;
  const auto as_named = electrical_share(stimulus, recording.loopback, rate_hz, *channels.loopback_start_s);
  if (!as_named || *as_named >= acoustic) return channels;
  const auto other_start_s = find_start(stimulus, recording.microphone, rate_hz, {}, threads);
  if (!other_start_s) return channels;
  const auto other = electrical_share(stimulus, recording.microphone, rate_hz, *other_start_s);
  if (other && *other > electrical) {
    std::swap(channels.microphone, channels.loopback);
    channels.exchanged = true;
    channels.loopback_start_s = other_start_s;
  }
  return channels;
}

void refuse_silence(const Recording& recording, const SampleSurvey& microphone) {
  if (microphone.constant()) {
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

/// Harmonics of a speaker both of whose takes are whole and played while no other speaker does: then nothing else falls
/// where they do.
std::vector<HarmonicReading> harmonics_of(const Stimulus& stimulus, const SweepPair& pair, const PairResponse& response,
                                          const TakeChoice& choice, const Takes& takes, double arrival_ms) {
  if (!choice.used[0] || !choice.used[1] || !choice.usable || pair.first == pair.second) return {};
  for (std::size_t i = 1; i < stimulus.sweeps.size(); ++i) {
    const ScheduledSweep& before = stimulus.sweeps[i - 1];
    const auto end = before.first_frame + std::ssize(stimulus.shapes[before.shape].samples);
    if (stimulus.sweeps[i].first_frame < end) return {};
  }
  const SweepShape& shape = stimulus.shapes[stimulus.sweeps[pair.first].shape];
  const Takes early = combine(response.first_early, response.second_early, takes.sample_rate_hz, 0);
  const double arrival_index = static_cast<double>(takes.zero_index) + arrival_ms * 1e-3 * takes.sample_rate_hz;
  return harmonic_readings(takes, early, arrival_index, shape.rate_constant, flat_band(shape.band));
}

/// A level's uncertainty by what the loudspeaker compresses.
void widen_for_compression(SpeakerKind kind, SpeakerMeasurement& speaker) {
  if (!speaker.level_db) return;
  const auto told_db = compression_uncertainty_db(speaker.harmonics, level_band_of(kind));
  speaker.level_db->uncertainty =
      std::hypot(speaker.level_db->uncertainty, told_db.value_or(compression_uncertainty_db(supposed_third_harmonic)));
}

/// Noise before the first sweep and after the last has died away.
std::vector<NoiseReading> noise_of(const Stimulus& stimulus, std::span<const float> microphone,
                                   const Synchronisation& sync, double nominal_rate_hz) {
  constexpr double guard_frames_s = 0.03;  // the first arrival is an expected one
  const auto frame = [&](double at) {
    return static_cast<std::size_t>(std::clamp(at, 0.0, static_cast<double>(microphone.size())));
  };
  const auto guard = guard_frames_s * sync.rate_hz;
  const SweepShape& last = stimulus.shapes[stimulus.sweeps.back().shape];
  const double silent_s = static_cast<double>(last.samples.size()) / stimulus.sample_rate_hz + stimulus.decay.value();
  const auto head = microphone.first(frame(sync.zero_frames.front() - guard));
  const auto tail = microphone.subspan(frame(sync.zero_frames.back() + silent_s * sync.rate_hz));
  const std::array<std::span<const float>, 2> quiet{head, tail};
  return background_noise(quiet, Hertz{nominal_rate_hz});
}

/// What the two ways of playing have in common: each speaker's responses, on the stimulus' time line.
struct Heard {
  Synchronisation sync;
  std::vector<PairResponse> responses;  // as the pairs
  std::size_t zero_index = 0;
  std::vector<Deconvolver> deconvolvers;  // by shape; none when interleaved
};

Heard hear_one_by_one(const Stimulus& stimulus, std::span<const SweepPair> pairs, const Channels& channels,
                      const Recording& recording, const MeasureOptions& options) {
  const bool has_loopback = !channels.loopback.empty();
  const std::span<const float> clock_channel = has_loopback ? channels.loopback : channels.microphone;
  auto sync = synchronise(stimulus, clock_channel, recording.sample_rate_hz, Thoroughness::quick, options.threads,
                          channels.loopback_start_s);
  if (!sync) refuse_foreign_recording(recording, has_loopback);
  auto deconvolvers = deconvolvers_for(stimulus, sync->rate_hz, options.microphone, options.threads);
  auto responses = respond_to_all(stimulus, pairs, channels.microphone, *sync, deconvolvers, options.threads);
  if (out_of_step(stimulus, pairs, responses, *sync, options.threads)) {
    sync = synchronise(stimulus, clock_channel, recording.sample_rate_hz, Thoroughness::thorough, options.threads,
                       channels.loopback_start_s);
    deconvolvers = deconvolvers_for(stimulus, sync->rate_hz, options.microphone, options.threads);
    responses = respond_to_all(stimulus, pairs, channels.microphone, *sync, deconvolvers, options.threads);
  }
  lengthen_bass(stimulus, pairs, channels.microphone, *sync, before_s, options.microphone, options.threads, responses);
  const std::size_t zero_index = deconvolvers.front().zero_index();
  return {std::move(*sync), std::move(responses), zero_index, std::move(deconvolvers)};
}

Heard hear_interleaved(const Stimulus& stimulus, std::span<const SweepPair> pairs, const Channels& channels,
                       const Recording& recording, const MeasureOptions& options) {
  const bool has_loopback = !channels.loopback.empty();
  const std::span<const float> clock_channel = has_loopback ? channels.loopback : channels.microphone;
  auto sync = synchronise_interleaved(stimulus, clock_channel, recording.sample_rate_hz, options.threads);
  if (!sync) refuse_foreign_recording(recording, has_loopback);
  auto responses =
      respond_interleaved(stimulus, pairs, channels.microphone, *sync, options.microphone, options.threads);
  return {std::move(*sync), std::move(responses.pairs), responses.zero_index, {}};
}

std::optional<double> loopback_zero_ms(const Stimulus& stimulus, const Channels& channels, Heard& heard,
                                       const MeasureOptions& options, bool overlapping) {
  if (channels.loopback.empty()) return {};
  if (overlapping) {
    return interleaved_loopback_arrival_ms(stimulus, channels.loopback, heard.sync, options.threads);
  }
  if (options.microphone != nullptr) {
    heard.deconvolvers = deconvolvers_for(stimulus, heard.sync.rate_hz, nullptr, options.threads);
  }
  return loopback_arrival_ms(stimulus, channels.loopback, heard.deconvolvers, heard.sync, options.threads);
}

/// A subwoofer's longer responses take longest: begun last, they would keep one thread busy alone.
std::vector<std::size_t> longest_first(std::span<const PairResponse> responses) {
  std::vector<std::size_t> order(responses.size());
  std::iota(order.begin(), order.end(), std::size_t{0});
  std::ranges::stable_sort(order, std::ranges::greater{},
                           [&](std::size_t i) { return responses[i].first_long.size(); });
  return order;
}

/// In an interleaved recording one lost buffer is in several sweeps, and which ones cannot be told.
void distrust_all(PositionMeasurement& measurement) {
  for (SpeakerMeasurement& speaker : measurement.speakers) speaker.trusted = false;
  measurement.findings.push_back(
      {Severity::stop, "dropout", std::nullopt,
       measurement.name +
           ": samples were lost, or no speaker that plays twice was heard both times. Where sweeps overlap it cannot "
           "be "
           "told which speakers that spoils, so none has settings. Give the audio program a larger buffer and measure "
           "again, without --interleave if it keeps happening."});
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
  const Channels channels = sort_channels(stimulus, recording, options.threads);
  const SampleSurvey survey = survey_samples(channels.microphone, options.threads);
  refuse_silence(recording, survey);
  const std::vector<SweepPair> pairs = sweep_pairs(stimulus);
  const bool overlapping = is_interleaved(stimulus);
  Heard heard = overlapping ? hear_interleaved(stimulus, pairs, channels, recording, options)
                            : hear_one_by_one(stimulus, pairs, channels, recording, options);
  const Synchronisation& sync = heard.sync;
  refuse_if_smeared(recording, heard.responses);

  const RecordingFaults faults = find_faults(channels.microphone, survey, stimulus, sync, options.threads);
  const std::vector<TakeChoice> choices =
      choose_takes(stimulus, pairs, heard.responses, faults, sync, channels.microphone, heard.zero_index);
  if (!overlapping &&
      holds_foreign_sweeps(stimulus, heard.responses, choices, sync, channels.microphone, options.threads)) {
    refuse_other_stimulus(recording);
  }
  result.clock_ppm = sync.timeline.clock_ppm;
  result.start_offset_ms = sync.start_lag_s * 1e3;
  result.speakers.resize(rig.speakers.size());
  const BandFilters filters{heard.responses.front().first.size(), sync.rate_hz, options.threads};
  const auto measure_pair = [&](std::size_t i) {
    const std::size_t shape = stimulus.sweeps[pairs[i].first].shape;
    const auto takes = takes_of(i, heard.responses, choices, stimulus, pairs, sync.rate_hz, heard.zero_index);
    SpeakerMeasurement& speaker = result.speakers[pairs[i].speaker];
    if (!takes) {
      speaker.trusted = false;
      return;
    }
    const Band band = stimulus.shapes[shape].band;
    const SpeakerKind kind = rig.speakers[pairs[i].speaker].kind;
    const bool usual = takes->mean.size() == heard.responses.front().first.size();  // a subwoofer's may be longer
    speaker = usual ? measure_speaker(*takes, kind, band, recording.sample_rate_hz, filters)
                    : measure_speaker(*takes, kind, band, recording.sample_rate_hz,
                                      BandFilters{takes->mean.size(), sync.rate_hz, 1, band.high});
    speaker.trusted = choices[i].usable;
    if (speaker.arrival_ms) {
      speaker.harmonics =
          harmonics_of(stimulus, pairs[i], heard.responses[i], choices[i], *takes, speaker.arrival_ms->value);
      widen_for_compression(rig.speakers[pairs[i].speaker].kind, speaker);
    }
  };
  SteadyNoise steady;
  const std::vector<std::size_t> order = longest_first(heard.responses);
  parallel_for(pairs.size() + 2, options.threads, [&](std::size_t i) {  // the noise last: it takes less
    if (i < pairs.size()) return measure_pair(order[i]);
    if (i == pairs.size()) {
      steady = steady_noise(stimulus, sync, channels.microphone);
    } else {
      result.noise = noise_of(stimulus, channels.microphone, sync, recording.sample_rate_hz);
    }
  });

  const auto zero_ms = loopback_zero_ms(stimulus, channels, heard, options, overlapping);
  result.absolute_time = zero_ms.has_value();
  result.findings = recording_findings(rig, recording, pairs, choices, faults, sync, channels.exchanged);
  std::ranges::move(input_processing_findings(recording, stimulus, heard.responses, choices, sync, faults.format_step),
                    std::back_inserter(result.findings));
  if (overlapping) check_windows(rig, stimulus, pairs, {std::move(heard.responses), heard.zero_index}, sync, result);
  if (sync.torn) distrust_all(result);
  compare_fellows(rig, result);
  widen_for_dispersion(rig, result);
  find_low_signal(rig, result);
  add_steady_noise(steady, result);
  shift_times(result, zero_ms.value_or(earliest_arrival_ms(rig, result)));
  return result;
}

}  // namespace ringtrue
