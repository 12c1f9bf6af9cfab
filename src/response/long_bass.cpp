#include "ringtrue/response/long_bass.hpp"

#include <algorithm>
#include <cmath>

#include "ringtrue/core/parallel.hpp"
#include "ringtrue/response/deconvolution.hpp"
#include "ringtrue/stimulus/overlap.hpp"

namespace ringtrue {
namespace {

constexpr double longest_bass_s = 1.2;      // 60 dB down at a decay time of 1.2 s: few rooms' bass lasts longer
constexpr Hertz highest_of_a_sub{500.0};    // of a subwoofer's sweep
constexpr double neighbour_guard_s = 0.02;  // what comes next may come from a nearer speaker

}  // namespace

double long_bass_s(const Stimulus& stimulus, std::size_t sweep, const Synchronisation& sync,
                   std::size_t channel_frames) {
  const SweepShape& shape = stimulus.shapes[stimulus.sweeps[sweep].shape];
  if (shape.band.high > highest_of_a_sub) return 0.0;
  const double clear_s = clear_window(stimulus, sweep, harmonics_kept_out).after.value() - neighbour_guard_s;
  // Where samples were lost in between, what comes next comes earlier.
  double earlier = 0.0;
  for (std::size_t next = sweep + 1; next < stimulus.sweeps.size(); ++next) {
    earlier = std::max(earlier, sync.timeline.shift_of(sweep) - sync.timeline.shift_of(next));
  }
  const double recorded_s = (static_cast<double>(channel_frames) - sync.zero_frames[sweep]) / sync.rate_hz -
                            static_cast<double>(shape.samples.size()) / stimulus.sample_rate_hz;
  return std::clamp(std::min(clear_s - earlier / sync.rate_hz, recorded_s), 0.0, longest_bass_s);
}

void lengthen_bass(const Stimulus& stimulus, std::span<const SweepPair> pairs, std::span<const float> channel,
                   const Synchronisation& sync, double before_s, const MicrophoneResponse* microphone, unsigned threads,
                   std::span<PairResponse> responses) {
  for (std::size_t i = 0; i < pairs.size(); ++i) {
    const std::size_t first = pairs[i].first;
    const std::size_t second = pairs[i].second;
    const double first_s = long_bass_s(stimulus, first, sync, channel.size());
    const double second_s = long_bass_s(stimulus, second, sync, channel.size());
    const double shorter_s = static_cast<double>(responses[i].first.size()) / sync.rate_hz - before_s;
    if (first == second || std::max(first_s, second_s) <= shorter_s) continue;
    const SweepShape& shape = stimulus.shapes[stimulus.sweeps[first].shape];
    const Deconvolver deconvolver{
        shape, stimulus.sample_rate_hz, sync.rate_hz, {before_s, std::max(first_s, second_s)}, microphone};
    const auto read = [&](std::size_t sweep, double after_s) {
      auto response = deconvolver.response(channel, sync.zero_frames[sweep]);
      const auto clear = deconvolver.zero_index() + static_cast<std::size_t>(after_s * sync.rate_hz);
      response.resize(std::min(response.size(), clear));
      return response;
    };
    parallel_for(2, threads, [&](std::size_t take) {
      auto& longer = take == 0 ? responses[i].first_long : responses[i].second_long;
      longer = take == 0 ? read(first, std::max(shorter_s, first_s)) : read(second, std::max(shorter_s, second_s));
    });
  }
}

}  // namespace ringtrue
