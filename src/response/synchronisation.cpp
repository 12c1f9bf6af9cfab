#include "ringtrue/response/synchronisation.hpp"

#include <algorithm>
#include <cmath>

#include "ringtrue/core/parallel.hpp"
#include "ringtrue/response/deconvolution.hpp"

namespace ringtrue {
namespace {

constexpr std::size_t pairs_for_the_clock = 6;
constexpr double coherent = 0.3;
constexpr double frequencies_needed = 10.0;    // independent ones: hum has agreed at 8, a sub's response at 15 to 50
constexpr double sound_span_frames = 0.3;      // a pair that lies further off its clock's span hints at lost samples
const ResponseWindow wide_window{0.30, 0.45};  // lost or repeated buffers of up to a third of a second

/// At how many frequencies, `1 / window` apart, two takes must be alike to tell time: of a narrow band a share of them.
double needed_frequencies(Band band, double window_s) {
  constexpr double share = 0.3;
  const double there = (band.high.value() - band.low.value()) * window_s;
  return std::min(frequencies_needed, share * there);
}

/// Where two takes are compared for time: of a main not its bass, in which hum and rumble are alike at any lag.
Band timing_band(Band sweep_band) {
  constexpr Hertz above_hum{300.0};
  constexpr Hertz broad{1'000.0};
  const Band flat = flat_band(sweep_band);
  return {flat.high > broad ? std::max(flat.low, above_hum) : flat.low, flat.high};
}

/// Spans of some pairs in the recording, sweeps taken at the nominal rate; incoherent pairs are left out.
std::vector<SpanReading> read_spans(const Stimulus& stimulus, std::span<const float> channel, double rate_hz,
                                    double start_lag_s, std::span<const SweepPair> pairs, ResponseWindow window,
                                    unsigned threads) {
  const auto deconvolvers = deconvolvers_for(stimulus, rate_hz, window, threads);
  std::vector<std::optional<SpanReading>> found(pairs.size());
  parallel_for(pairs.size(), threads, [&](std::size_t i) {
    const SweepPair& pair = pairs[i];
    const std::size_t shape = stimulus.sweeps[pair.first].shape;
    const double first = (start_s(stimulus, pair.first) + start_lag_s) * rate_hz;
    const double second = (start_s(stimulus, pair.second) + start_lag_s) * rate_hz;
    const bool there = inside_recording(stimulus, pair.first, first, rate_hz, channel.size()) &&
                       inside_recording(stimulus, pair.second, second, rate_hz, channel.size());
    if (!there) return;
    found[i] = span_between(stimulus, pair, deconvolvers[shape].response(channel, first),
                            deconvolvers[shape].response(channel, second), rate_hz, LagExpected::any);
  });
  std::vector<SpanReading> spans;
  for (const auto& span : found) {
    if (span) spans.push_back(*span);
  }
  return spans;
}

}  // namespace

std::vector<Deconvolver> deconvolvers_for(const Stimulus& stimulus, double recorder_rate_hz, ResponseWindow window,
                                          unsigned threads) {
  return parallel_map(stimulus.shapes.size(), threads, [&](std::size_t i) {
    return Deconvolver{stimulus.shapes[i], stimulus.sample_rate_hz, recorder_rate_hz, window};
  });
}

std::optional<SpanReading> span_between(const Stimulus& stimulus, const SweepPair& pair, std::span<const float> first,
                                        std::span<const float> second, double nominal_rate_hz, LagExpected expected) {
  const Band band = timing_band(stimulus.shapes[stimulus.sweeps[pair.first].shape].band);
  const auto lag_of = expected == LagExpected::any ? pair_lag : small_pair_lag;
  const PairLag lag = lag_of(first, second, band, nominal_rate_hz);
  const double window_s = static_cast<double>(first.size()) / nominal_rate_hz;
  if (lag.coherence < coherent || lag.frequencies < needed_frequencies(band, window_s)) return {};
  return SpanReading{pair.first, pair.second, start_s(stimulus, pair.second) - start_s(stimulus, pair.first),
                     lag.lag_samples, lag.uncertainty_samples};
}

bool is_broken(const Timeline& timeline) { return timeline.misfit > sound_span_frames || !timeline.steps.empty(); }

Synchronisation nominal_synchronisation(const Stimulus& stimulus, double start_lag_s, double nominal_rate_hz,
                                        std::size_t frames) {
  Synchronisation result;
  result.start_lag_s = start_lag_s;
  result.rate_hz = nominal_rate_hz;
  for (std::size_t i = 0; i < stimulus.sweeps.size(); ++i) {
    const double zero = (start_s(stimulus, i) + start_lag_s) * nominal_rate_hz;
    result.zero_frames.push_back(zero);
    result.whole.push_back(inside_recording(stimulus, i, zero, nominal_rate_hz, frames));
  }
  return result;
}

bool inside_recording(const Stimulus& stimulus, std::size_t sweep, double zero_frame, double rate_hz,
                      std::size_t frames) {
  constexpr double fade_in_s = 0.02;  // what a late recorder may miss of the first fade without harm
  constexpr double decay_s = 0.05;
  const auto& samples = stimulus.shapes[stimulus.sweeps[sweep].shape].samples;
  const double length = static_cast<double>(samples.size()) / stimulus.sample_rate_hz * rate_hz;
  return zero_frame >= -fade_in_s * rate_hz && zero_frame + length + decay_s * rate_hz <= static_cast<double>(frames);
}

std::optional<Synchronisation> synchronise(const Stimulus& stimulus, std::span<const float> channel,
                                           double nominal_rate_hz, Thoroughness thoroughness, unsigned threads,
                                           std::optional<double> known_start_s) {
  const auto start_lag = known_start_s ? known_start_s : find_start(stimulus, channel, nominal_rate_hz, {}, threads);
  if (!start_lag) return {};
  std::vector<SweepPair> pairs = sweep_pairs(stimulus);
  std::erase_if(pairs, [](const SweepPair& pair) { return pair.first == pair.second; });

  // Cheap first: every other pair, short windows. Only where their spans do not agree are all pairs looked at widely.
  std::vector<SweepPair> some;
  const std::size_t stride = std::max<std::size_t>(1, pairs.size() / pairs_for_the_clock);
  for (std::size_t i = 0; i < pairs.size(); i += stride) some.push_back(pairs[i]);
  const std::size_t sweeps = stimulus.sweeps.size();
  const auto quick = read_spans(stimulus, channel, nominal_rate_hz, *start_lag, some, clock_window, threads);
  Synchronisation result;
  result.start_lag_s = *start_lag;
  result.timeline = solve_timeline(quick, sweeps, nominal_rate_hz);
  if (thoroughness == Thoroughness::thorough || is_broken(result.timeline) || quick.size() < some.size()) {
    const auto spans = read_spans(stimulus, channel, nominal_rate_hz, *start_lag, pairs, wide_window, threads);
    result.timeline = solve_timeline(spans, sweeps, nominal_rate_hz);
  }

  if (!result.timeline.steps.empty()) {  // the start that most sweeps agree on may lie behind a step
    std::vector<double> shifts_s;
    for (std::size_t i = 0; i < sweeps; ++i) shifts_s.push_back(result.timeline.shift_of(i) / nominal_rate_hz);
    if (const auto again = find_start(stimulus, channel, nominal_rate_hz, shifts_s, threads))
      result.start_lag_s = *again;
  }

  result.rate_hz = nominal_rate_hz * (1.0 + 1e-6 * result.timeline.clock_ppm.value);
  for (std::size_t i = 0; i < sweeps; ++i) {
    const double zero =
        start_s(stimulus, i) * result.rate_hz + result.start_lag_s * nominal_rate_hz + result.timeline.shift_of(i);
    result.zero_frames.push_back(zero);
    const bool cut = std::ranges::any_of(result.timeline.steps,
                                         [&](const TimelineStep& step) { return step.inside && step.after == i; });
    result.whole.push_back(!cut && inside_recording(stimulus, i, zero, result.rate_hz, channel.size()));
  }
  return result;
}

}  // namespace ringtrue
