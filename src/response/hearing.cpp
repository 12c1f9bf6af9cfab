#include "hearing.hpp"

#include <algorithm>
#include <cmath>
#include <span>

#include "ringtrue/core/largest_first.hpp"
#include "ringtrue/core/parallel.hpp"
#include "ringtrue/response/harmonics.hpp"
#include "ringtrue/response/interleaved.hpp"
#include "ringtrue/response/long_bass.hpp"
#include "ringtrue/response/loopback.hpp"
#include "ringtrue/response/measurement_findings.hpp"
#include "ringtrue/response/one_clock.hpp"

namespace ringtrue {
namespace {

std::size_t in_frames(double seconds, double rate_hz) { return static_cast<std::size_t>(seconds * rate_hz); }

/// Deconvolvers for every sweep shape on one recorder clock, the microphone's response taken out.
/// @param frames  of the recording
std::vector<Deconvolver> microphone_deconvolvers(const Stimulus& stimulus, const Synchronisation& sync,
                                                 std::size_t frames, const MeasureOptions& options) {
  return parallel_map(stimulus.shapes.size(), options.threads, [&](std::size_t i) {
    const SweepShape& shape = stimulus.shapes[i];
    const double after_s = std::max(0.1, stimulus.decay.value() - quiet_before_s - next_sweep_guard_s);
    const ResponseWindow window{quiet_before_s, after_s, harmonics_need_s(shape.rate_constant),
                                longest_bass_s(stimulus, i, sync, frames)};
    return Deconvolver{shape, stimulus.sample_rate_hz, sync.rate_hz, window, options.microphone};
  });
}

PairResponse respond_to(const Stimulus& stimulus, const SweepPair& pair, std::span<const float> channel,
                        const Synchronisation& sync, std::span<const Deconvolver> deconvolvers) {
  const Deconvolver& deconvolver = deconvolvers[stimulus.sweeps[pair.first].shape];
  auto response =
      respond(deconvolver, channel, sync.zero_frames[pair.first], sync.zero_frames[pair.second], sync.rate_hz);
  clear_long_bass(stimulus, pair, sync, channel.size(), deconvolver.zero_index(), response);
  return response;
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
    const std::size_t from = in_frames(quiet_before_s - crop_before_s, sync.rate_hz);
    const std::size_t size = std::min(in_frames(crop_s, sync.rate_hz), responses[i].first.size() - from);
    const Band band = flat_band(stimulus.shapes[stimulus.sweeps[pairs[i].first].shape].band);
    lags[i] = pair_lag(std::span{responses[i].first}.subspan(from, size),
                       std::span{responses[i].second}.subspan(from, size), band, sync.rate_hz);
  });
  return std::ranges::any_of(lags, [](const PairLag& lag) {
    return lag.coherence > 0.5 && std::abs(lag.lag_samples) > allowed_frames + 5.0 * lag.uncertainty_samples;
  });
}

/// Reads the recording as of one interface, whose inputs and outputs share a clock, with nothing lost. Empty where it
/// is not so, or cannot be told from every speaker.
/// @param start_lag_s  taken to the nearest frame: it is where to look, and at the stimulus' own rate sweeps then begin
///                     on whole frames
std::optional<Heard> hear_on_one_clock(const Stimulus& stimulus, std::span<const SweepPair> pairs,
                                       const Channels& channels, double rate_hz, double start_lag_s,
                                       const MeasureOptions& options) {
  const double whole_lag_s = std::round(start_lag_s * rate_hz) / rate_hz;
  Heard heard{nominal_synchronisation(stimulus, whole_lag_s, rate_hz, channels.microphone.size()), {}, 0, {}};
  if (std::ranges::find(heard.sync.whole, false) != heard.sync.whole.end()) return {};
  const bool wired = !channels.loopback.empty();
  if (wired) {
    const auto loopback =
        loopback_on_one_clock(stimulus, pairs, channels.loopback, channels.wire, heard.sync, options.threads);
    if (!loopback) return {};
    heard.sync.timeline = loopback->timeline;
    heard.loopback_zero_ms = loopback->arrival_ms;
  }

  const auto deconvolvers = microphone_deconvolvers(stimulus, heard.sync, channels.microphone.size(), options);
  heard.zero_index = deconvolvers.front().zero_index();
  heard.responses.resize(pairs.size());
  const std::size_t near = heard.zero_index - in_frames(clock_window.before_s, rate_hz);
  const std::size_t length = in_frames(clock_window.before_s + clock_window.after_s, rate_hz);
  OneClock clock{stimulus, pairs, rate_hz};
  const auto order = largest_first(pairs.size(), [&](std::size_t i) {
    return deconvolvers[stimulus.sweeps[pairs[i].first].shape].transform_size();
  });
  parallel_for(pairs.size(), options.threads, [&](std::size_t at) {
    if (clock.refuted()) return;
    const std::size_t i = order[at];
    PairResponse& response = heard.responses[i];
    response = respond_to(stimulus, pairs[i], channels.microphone, heard.sync, deconvolvers);
    const std::size_t size = std::min(length, response.first.size() - near);
    if (!wired) {
      clock.read(i, std::span{response.first}.subspan(near, size), std::span{response.second}.subspan(near, size),
                 response.first, response.second);
    }
  });
  if (wired) {
    if (out_of_step(stimulus, pairs, heard.responses, heard.sync, options.threads)) return {};
    return heard;
  }
  auto timeline = clock.timeline();
  if (!timeline) return {};
  heard.sync.timeline = *std::move(timeline);
  return heard;
}

/// Finds the recorder's clock and what was lost first.
Heard hear_on_its_clock(const Stimulus& stimulus, std::span<const SweepPair> pairs, const Channels& channels,
                        const Recording& recording, double start_lag_s, const MeasureOptions& options) {
  const bool wired = !channels.loopback.empty();
  const std::span<const float> clock_channel = wired ? channels.loopback : channels.microphone;
  std::optional<Synchronisation> sync;
  std::vector<Deconvolver> deconvolvers;
  std::vector<PairResponse> responses(pairs.size());
  for (const Thoroughness thoroughness : {Thoroughness::quick, Thoroughness::thorough}) {
    sync = synchronise(stimulus, clock_channel, recording.sample_rate_hz, thoroughness, options.threads, start_lag_s);
    if (!sync) refuse_foreign_recording(recording, wired);
    deconvolvers = microphone_deconvolvers(stimulus, *sync, channels.microphone.size(), options);
    parallel_for(pairs.size(), options.threads, [&](std::size_t i) {
      responses[i] = respond_to(stimulus, pairs[i], channels.microphone, *sync, deconvolvers);
    });
    if (thoroughness == Thoroughness::thorough || !out_of_step(stimulus, pairs, responses, *sync, options.threads))
      break;
  }
  std::optional<double> zero_ms;
  if (wired) {
    const auto wire = deconvolvers_for(stimulus, sync->rate_hz, clock_window, options.threads);
    zero_ms = loopback_arrival_ms(stimulus, channels.loopback, wire, *sync, options.threads);
  }
  return {*std::move(sync), std::move(responses), deconvolvers.front().zero_index(), zero_ms};
}

}  // namespace

Channels sort_channels(const Stimulus& stimulus, const Recording& recording, unsigned threads) {
  Channels channels{recording.microphone, recording.loopback};
  if (recording.loopback.empty()) return channels;
  constexpr double electrical = 0.97;  // of the energy within 1 ms: a wire has no room
  constexpr double acoustic = 0.9;
  const double rate_hz = recording.sample_rate_hz;
  channels.loopback_start_s = find_start(stimulus, recording.loopback, rate_hz, {}, threads);
  if (!channels.loopback_start_s) return channels;
  channels.wire = deconvolvers_for(stimulus, rate_hz, clock_window, threads);
  const auto as_named =
      electrical_share(stimulus, recording.loopback, channels.wire, rate_hz, *channels.loopback_start_s);
  if (!as_named || *as_named >= acoustic) return channels;
  const auto other_start_s = find_start(stimulus, recording.microphone, rate_hz, {}, threads);
  if (!other_start_s) return channels;
  const auto other = electrical_share(stimulus, recording.microphone, channels.wire, rate_hz, *other_start_s);
  if (other && *other > electrical) {
    std::swap(channels.microphone, channels.loopback);
    channels.exchanged = true;
    channels.loopback_start_s = other_start_s;
  }
  return channels;
}

Heard hear_one_by_one(const Stimulus& stimulus, std::span<const SweepPair> pairs, const Channels& channels,
                      const Recording& recording, const MeasureOptions& options) {
  const bool wired = !channels.loopback.empty();
  const double rate_hz = recording.sample_rate_hz;
  const auto start_lag_s =
      wired ? channels.loopback_start_s : find_start(stimulus, channels.microphone, rate_hz, {}, options.threads);
  if (!start_lag_s) refuse_foreign_recording(recording, wired);
  auto at_once = hear_on_one_clock(stimulus, pairs, channels, rate_hz, *start_lag_s, options);
  return at_once ? *std::move(at_once) : hear_on_its_clock(stimulus, pairs, channels, recording, *start_lag_s, options);
}

Heard hear_interleaved(const Stimulus& stimulus, std::span<const SweepPair> pairs, const Channels& channels,
                       const Recording& recording, const MeasureOptions& options) {
  const bool wired = !channels.loopback.empty();
  const std::span<const float> clock_channel = wired ? channels.loopback : channels.microphone;
  auto sync = synchronise_interleaved(stimulus, clock_channel, recording.sample_rate_hz, options.threads);
  if (!sync) refuse_foreign_recording(recording, wired);
  auto responses =
      respond_interleaved(stimulus, pairs, channels.microphone, *sync, options.microphone, options.threads);
  std::optional<double> zero_ms;
  if (wired) zero_ms = interleaved_loopback_arrival_ms(stimulus, channels.loopback, *sync, options.threads);
  return {*std::move(sync), std::move(responses.pairs), responses.zero_index, zero_ms};
}

}  // namespace ringtrue
