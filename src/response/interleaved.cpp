#include "ringtrue/response/interleaved.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>

#include "ringtrue/core/parallel.hpp"
#include "ringtrue/dsp/phase_ramp.hpp"
#include "ringtrue/dsp/real_fft.hpp"
#include "ringtrue/response/arrival.hpp"
#include "ringtrue/response/long_bass.hpp"
#include "ringtrue/response/loopback.hpp"
#include "ringtrue/response/takes.hpp"
#include "ringtrue/stimulus/overlap.hpp"

namespace ringtrue {
namespace {

constexpr double least_after_s = 0.1;
constexpr double coherent = 0.5;     // the same speaker twice; two speakers of a ring share a third at most
constexpr double torn_frames = 0.5;  // spans of one clock agree to some hundredths of a frame

std::size_t frames_of(double seconds, double rate_hz) { return static_cast<std::size_t>(seconds * rate_hz); }

const SweepShape& shape_of(const Stimulus& stimulus, std::size_t sweep) {
  return stimulus.shapes[stimulus.sweeps[sweep].shape];
}

std::vector<SweepPair> played_twice(const Stimulus& stimulus) {
  std::vector<SweepPair> pairs = sweep_pairs(stimulus);
  std::erase_if(pairs, [](const SweepPair& pair) { return pair.first == pair.second; });
  return pairs;
}

/// What the speakers that play twice say when the stimulus starts at a given lag.
std::vector<SpanReading> spans_at(double lag_s, const Stimulus& stimulus, const LongResponses& all, double rate_hz,
                                  double& likeness) {
  constexpr double near_before_s = 0.05;
  constexpr double near_after_s = 0.15;
  std::vector<SpanReading> spans;
  for (const SweepPair& pair : played_twice(stimulus)) {
    const auto near = [&](std::size_t sweep) {
      return all.cut(sweep, (start_s(stimulus, sweep) + lag_s) * rate_hz, frames_of(near_before_s, rate_hz),
                     frames_of(near_after_s, rate_hz));
    };
    const PairLag lag =
        pair_lag(near(pair.first), near(pair.second), flat_band(shape_of(stimulus, pair.first).band), rate_hz);
    if (lag.coherence < coherent) continue;
    spans.push_back({pair.first, pair.second, start_s(stimulus, pair.second) - start_s(stimulus, pair.first),
                     lag.lag_samples, lag.uncertainty_samples});
    // Two speakers whose direct sounds prevail are alike to a half or more; the same one twice to all but its noise.
    likeness -= std::log(1.001 - lag.coherence);
  }
  return spans;
}

struct Start {
  double lag_s = 0.0;
  double likeness = 0.0;
  std::vector<SpanReading> spans;
};

std::optional<Start> find_interleaved_start(const Stimulus& stimulus, const LongResponses& all, double rate_hz,
                                            unsigned threads) {
  std::vector<std::vector<Lag>> lags(stimulus.sweeps.size());
  parallel_for(lags.size(), threads, [&](std::size_t i) {
    const std::size_t before = frames_of(-earliest_lag_s, rate_hz);
    const auto h = all.cut(i, start_s(stimulus, i) * rate_hz, before, frames_of(latest_lag_s, rate_hz));
    lags[i] = prominent_lags(h, before, rate_hz);
  });
  std::optional<Start> best;
  for (const double lag_s : agreed_lags(lags)) {
    Start start{lag_s, 0.0, {}};
    start.spans = spans_at(lag_s, stimulus, all, rate_hz, start.likeness);
    if (!best || start.likeness > best->likeness) best = std::move(start);
  }
  return best;
}

double energy(std::span<const float> x) {
  double sum = 0.0;
  for (const float sample : x) sum += static_cast<double>(sample) * static_cast<double>(sample);
  return sum;
}

/// Gain and likeness of a pair; of a single sweep, whether it stands out from what comes before it.
void compare(PairResponse& response, bool twice, std::size_t zero_index) {
  if (twice) return compare_takes(response);
  const auto [low, high] = std::ranges::minmax(response.first);
  const double quiet = energy(std::span{response.first}.first(zero_index / 2)) / static_cast<double>(zero_index / 2);
  constexpr double stands_out = 10.0;
  response.likeness = static_cast<double>(std::max(high, -low)) > stands_out * std::sqrt(quiet) ? 1.0 : 0.0;
}

}  // namespace

LongResponses::LongResponses(const Stimulus& stimulus, std::span<const float> channel, double rate_hz,
                             const MicrophoneResponse* microphone, unsigned threads)
    : stimulus_{stimulus}, by_shape_(stimulus.shapes.size()) {
  const ResponseWindow everything{0.0, static_cast<double>(channel.size()) / rate_hz};
  parallel_for(by_shape_.size(), threads, [&](std::size_t shape) {
    const Deconvolver deconvolver{stimulus.shapes[shape], stimulus.sample_rate_hz, rate_hz, everything, microphone};
    by_shape_[shape] = deconvolver.response(channel, 0.0);
  });
}

std::vector<float> LongResponses::cut(std::size_t sweep, double zero_frame, std::size_t before,
                                      std::size_t after) const {
  constexpr std::size_t margin = 256;  // of the circular shift by a fraction of a frame
  const std::vector<float>& h = by_shape_[stimulus_.sweeps[sweep].shape];
  const double whole = std::floor(zero_frame);
  const auto first = static_cast<std::ptrdiff_t>(whole) - static_cast<std::ptrdiff_t>(before + margin);
  const std::size_t length = before + after;
  const RealFft fft{good_fft_size(length + 2 * margin)};
  std::vector<double> time(fft.size());
  for (std::size_t i = 0; i < time.size(); ++i) {
    const std::ptrdiff_t n = first + static_cast<std::ptrdiff_t>(i);
    if (n >= 0 && n < std::ssize(h)) time[i] = static_cast<double>(h[static_cast<std::size_t>(n)]);
  }
  std::vector<std::complex<double>> bins(fft.bin_count());
  fft.forward(time, bins);
  const double step = 2.0 * std::numbers::pi * (zero_frame - whole) / static_cast<double>(fft.size());
  PhaseRamp phase{0.0, step};
  for (std::complex<double>& bin : bins) bin *= phase.next();
  fft.inverse(bins, time);
  std::vector<float> samples(length);
  std::ranges::transform(std::span{time}.subspan(margin, length), samples.begin(),
                         [](double x) { return static_cast<float>(x); });
  return samples;
}

std::optional<Synchronisation> synchronise_interleaved(const Stimulus& stimulus, std::span<const float> channel,
                                                       double nominal_rate_hz, unsigned threads) {
  const LongResponses all{stimulus, channel, nominal_rate_hz, nullptr, threads};
  const auto start = find_interleaved_start(stimulus, all, nominal_rate_hz, threads);
  if (!start) return {};
  Synchronisation result;
  result.start_lag_s = start->lag_s;
  result.timeline = solve_timeline(start->spans, stimulus.sweeps.size(), nominal_rate_hz);
  result.torn = start->spans.empty() || !result.timeline.steps.empty() || result.timeline.misfit > torn_frames;
  result.timeline.steps.clear();
  if (result.torn) result.timeline.clock_ppm = {0.0, 100.0};
  result.rate_hz = nominal_rate_hz * (1.0 + 1e-6 * result.timeline.clock_ppm.value);
  for (std::size_t i = 0; i < stimulus.sweeps.size(); ++i) {
    const double zero = start_s(stimulus, i) * result.rate_hz + start->lag_s * nominal_rate_hz;
    result.zero_frames.push_back(zero);
    result.whole.push_back(inside_recording(stimulus, i, zero, result.rate_hz, channel.size()));
  }
  return result;
}

InterleavedResponses respond_interleaved(const Stimulus& stimulus, std::span<const SweepPair> pairs,
                                         std::span<const float> microphone, const Synchronisation& sync,
                                         const MicrophoneResponse* response, unsigned threads) {
  double after_s = 10.0;
  for (std::size_t i = 0; i < stimulus.sweeps.size(); ++i) {
    after_s = std::min(after_s, clear_window(stimulus, i, harmonics_kept_out).after.value());
  }
  const std::size_t before = frames_of(quiet_before_s, sync.rate_hz);
  const std::size_t after = frames_of(std::max(least_after_s, after_s - next_sweep_guard_s), sync.rate_hz);
  const LongResponses all{stimulus, microphone, sync.rate_hz, response, threads};
  InterleavedResponses result{std::vector<PairResponse>(pairs.size()), before};
  parallel_for(pairs.size(), threads, [&](std::size_t i) {
    const auto [speaker, first, second] = pairs[i];
    PairResponse& pair = result.pairs[i];
    pair.first = all.cut(first, sync.zero_frames[first], before, after);
    pair.second = first == second ? pair.first : all.cut(second, sync.zero_frames[second], before, after);
    compare(pair, first != second, before);
    const auto first_long = frames_of(long_bass_s(stimulus, first, sync, microphone.size()), sync.rate_hz);
    const auto second_long = frames_of(long_bass_s(stimulus, second, sync, microphone.size()), sync.rate_hz);
    if (first == second || std::max(first_long, second_long) <= after) return;
    pair.first_long = all.cut(first, sync.zero_frames[first], before, std::max(after, first_long));
    pair.second_long = all.cut(second, sync.zero_frames[second], before, std::max(after, second_long));
  });
  return result;
}

std::optional<double> interleaved_loopback_arrival_ms(const Stimulus& stimulus, std::span<const float> loopback,
                                                      const Synchronisation& sync, unsigned threads) {
  constexpr double after_s = 0.2;
  const LongResponses all{stimulus, loopback, sync.rate_hz, nullptr, threads};
  const std::size_t before = frames_of(quiet_before_s, sync.rate_hz);
  std::vector<std::optional<double>> arrivals(stimulus.sweeps.size());
  parallel_for(arrivals.size(), threads, [&](std::size_t i) {
    if (!sync.whole[i] || !times_a_wire(stimulus, i)) return;
    const auto h = all.cut(i, sync.zero_frames[i], before, frames_of(after_s, sync.rate_hz));
    arrivals[i] = wire_arrival_ms(h, before, sync.rate_hz, flat_band(shape_of(stimulus, i).band));
  });
  return median_of_known(arrivals);
}

}  // namespace ringtrue
