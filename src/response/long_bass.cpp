#include "ringtrue/response/long_bass.hpp"

#include <algorithm>
#include <cmath>

#include "ringtrue/stimulus/overlap.hpp"

namespace ringtrue {
namespace {

constexpr double most_bass_s = 1.2;         // 60 dB down at a decay time of 1.2 s: few rooms' bass lasts longer
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
  return std::clamp(std::min(clear_s - earlier / sync.rate_hz, recorded_s), 0.0, most_bass_s);
}

double longest_bass_s(const Stimulus& stimulus, std::size_t shape, const Synchronisation& sync,
                      std::size_t channel_frames) {
  double longest_s = 0.0;
  for (std::size_t i = 0; i < stimulus.sweeps.size(); ++i) {
    if (stimulus.sweeps[i].shape == shape)
      longest_s = std::max(longest_s, long_bass_s(stimulus, i, sync, channel_frames));
  }
  return longest_s;
}

void clear_long_bass(const Stimulus& stimulus, const SweepPair& pair, const Synchronisation& sync,
                     std::size_t channel_frames, std::size_t zero_index, PairResponse& response) {
  const std::size_t shorter = response.first.size();
  const auto clear = [&](std::size_t sweep) {
    const double after_s = long_bass_s(stimulus, sweep, sync, channel_frames);
    return std::max(shorter, zero_index + static_cast<std::size_t>(after_s * sync.rate_hz));
  };
  const std::size_t first = clear(pair.first);
  const std::size_t second = clear(pair.second);
  const bool longer = pair.first != pair.second && std::max(first, second) > shorter && !response.first_long.empty();
  response.first_long.resize(longer ? std::min(first, response.first_long.size()) : 0);
  response.second_long.resize(longer ? std::min(second, response.second_long.size()) : 0);
}

}  // namespace ringtrue
