#include "ringtrue/live/line_check.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "ringtrue/response/deconvolution.hpp"
#include "ringtrue/response/fellows.hpp"
#include "ringtrue/response/speaker_measures.hpp"
#include "ringtrue/response/sweep_pair.hpp"
#include "ringtrue/response/synchronisation.hpp"
#include "ringtrue/response/takes.hpp"

namespace ringtrue {
namespace {

constexpr double before_s = 0.06;  // of the first arrival: nearer speakers, and noise
constexpr double guard_s = 0.02;

void add_silent(const Rig& rig, PositionMeasurement& judged, const std::vector<bool>& checked) {
  for (std::size_t s = 0; s < rig.speakers.size(); ++s) {
    const SpeakerMeasurement& measured = judged.speakers[s];
    if (!checked[s] || measured.heard || measured.bass_only || !measured.trusted) continue;
    judged.findings.push_back(
        {Severity::stop, "silent-output", rig.speakers[s].label,
         fmt::format(
             "Nothing is heard from {} (output {}). Check that it is switched on, its cable, and that output {} "
             "is not muted.",
             rig.speakers[s].label, rig.speakers[s].output, rig.speakers[s].output)});
  }
}

/// Mains that move against the majority; a sub's short burst does not tell.
void add_inverted(const Rig& rig, PositionMeasurement& judged) {
  int sum = 0;
  for (std::size_t s = 0; s < rig.speakers.size(); ++s) {
    if (rig.speakers[s].kind == SpeakerKind::sub || !judged.speakers[s].heard) continue;
    sum += judged.speakers[s].sign == WooferSign::positive   ? 1
           : judged.speakers[s].sign == WooferSign::negative ? -1
                                                             : 0;
  }
  if (sum == 0) return;
  const WooferSign odd = sum > 0 ? WooferSign::negative : WooferSign::positive;
  for (std::size_t s = 0; s < rig.speakers.size(); ++s) {
    const SpeakerMeasurement& measured = judged.speakers[s];
    if (rig.speakers[s].kind == SpeakerKind::sub || !measured.heard || measured.sign != odd) continue;
    judged.findings.push_back({Severity::warn, "inverted-polarity", rig.speakers[s].label,
                               fmt::format("{} (output {}) seems to move the opposite way to most others: look at its "
                                           "leads and invert switch.",
                                           rig.speakers[s].label, rig.speakers[s].output)});
  }
}

}  // namespace

Stimulus plan_line_burst(const Rig& rig, std::size_t speaker, const LineOptions& options) {
  Rig alone = rig;
  alone.speakers = {rig.speakers[speaker]};
  StimulusOptions wanted;
  wanted.peak_level = options.peak;
  wanted.allow_loud = options.allow_loud;
  wanted.main_sweep = options.burst;
  wanted.sub_sweep = options.burst;
  wanted.decay = options.pause;
  wanted.lead_in = options.lead_in;
  Stimulus stimulus = plan_stimulus(alone, wanted);
  stimulus.channels = channel_count(rig);
  for (ScheduledSweep& sweep : stimulus.sweeps) sweep.speaker = speaker;
  return stimulus;
}

LineCheck::LineCheck(const Rig& rig, unsigned threads)
    : rig_{rig}, threads_{threads}, speakers_(rig.speakers.size()), checked_(rig.speakers.size()) {}

const SpeakerMeasurement& LineCheck::hear(std::size_t speaker, const Stimulus& stimulus, const Recording& recording) {
  const double nominal_hz = recording.sample_rate_hz;
  if (!lag_s_) {
    const auto& clock_channel = recording.loopback.empty() ? recording.microphone : recording.loopback;
    if (const auto sync = synchronise(stimulus, clock_channel, nominal_hz, Thoroughness::quick, threads_)) {
      lag_s_ = sync->start_lag_s;
      rate_factor_ = sync->rate_hz / nominal_hz;
    }
  }
  const double rate_hz = nominal_hz * rate_factor_;
  const SweepShape& shape = stimulus.shapes.front();
  const ResponseWindow window{before_s, std::max(0.1, stimulus.decay.value() - before_s - guard_s)};
  const Deconvolver deconvolver{shape, stimulus.sample_rate_hz, rate_hz, window};
  const auto zero_frame = [&](const ScheduledSweep& sweep) {
    return static_cast<double>(sweep.first_frame) / stimulus.sample_rate_hz * rate_hz +
           lag_s_.value_or(0.0) * nominal_hz;
  };
  const PairResponse heard = respond(deconvolver, recording.microphone, zero_frame(stimulus.sweeps.front()),
                                     zero_frame(stimulus.sweeps.back()), rate_hz);
  const Takes takes = combine(heard.first, heard.second, rate_hz, deconvolver.zero_index());
  speakers_[speaker] = measure_speaker(takes, rig_.speakers[speaker].kind, shape.band, nominal_hz,
                                       BandFilters{takes.mean.size(), rate_hz});
  checked_[speaker] = true;
  return speakers_[speaker];
}

PositionMeasurement LineCheck::judged() const {
  PositionMeasurement result;
  result.name = "line check";
  result.speakers = speakers_;
  for (std::size_t s = 0; s < speakers_.size(); ++s) {
    if (!checked_[s]) result.speakers[s].direct_db = -1e3;  // nothing is known of it: not doubtful either
  }
  compare_fellows(rig_, result);
  add_silent(rig_, result, checked_);
  add_inverted(rig_, result);
  return result;
}

}  // namespace ringtrue
