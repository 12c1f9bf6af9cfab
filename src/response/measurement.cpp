#include "ringtrue/response/measurement.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <optional>
#include <span>

#include "foreign_sweeps.hpp"
#include "hearing.hpp"
#include "ringtrue/core/errors.hpp"
#include "ringtrue/core/largest_first.hpp"
#include "ringtrue/core/parallel.hpp"
#include "ringtrue/response/fellows.hpp"
#include "ringtrue/response/input_processing.hpp"
#include "ringtrue/response/interleaved.hpp"
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
  refuse_if_smeared(recording, pairs, heard.responses, options.threads);

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
  const auto order =  // a subwoofer's longer responses take longest
      largest_first(pairs.size(), [&](std::size_t i) { return heard.responses[i].first_long.size(); });
  parallel_for(pairs.size() + 2, options.threads, [&](std::size_t i) {  // the noise last: it takes less
    if (i < pairs.size()) return measure_pair(order[i]);
    if (i == pairs.size()) {
      steady = steady_noise(stimulus, sync, channels.microphone, survey);
    } else {
      result.noise = noise_of(stimulus, channels.microphone, sync, recording.sample_rate_hz);
    }
  });

  result.absolute_time = heard.loopback_zero_ms.has_value();
  result.findings = recording_findings(rig, recording, pairs, choices, faults, sync, channels.exchanged);
  std::ranges::move(input_processing_findings(recording, stimulus, heard.responses, choices, sync, faults.format_step),
                    std::back_inserter(result.findings));
  if (overlapping) check_windows(rig, stimulus, pairs, {std::move(heard.responses), heard.zero_index}, sync, result);
  if (sync.torn) distrust_all(result);
  compare_fellows(rig, result, options.threads);
  widen_for_dispersion(rig, result);
  find_low_signal(rig, result);
  add_steady_noise(steady, result);
  shift_times(result, heard.loopback_zero_ms.value_or(earliest_arrival_ms(rig, result)));
  return result;
}

}  // namespace ringtrue
