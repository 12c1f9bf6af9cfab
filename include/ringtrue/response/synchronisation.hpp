#pragma once

#include <optional>
#include <span>
#include <vector>

#include "ringtrue/response/clock.hpp"
#include "ringtrue/response/timeline.hpp"
#include "ringtrue/stimulus/stimulus.hpp"

namespace ringtrue {

/// How a recording lies on the stimulus' time line.
struct Synchronisation {
  double start_lag_s = 0.0;   // from a sweep's nominal time to its first arrival, in the recorder's nominal seconds
  double rate_hz = 48'000.0;  // the recorder's, in the player's seconds
  Timeline timeline;
  std::vector<double> zero_frames;  // of each sweep: where its first arrival is expected in the recording
  std::vector<bool> whole;          // of each sweep: inside the recording and not cut by a step
  bool torn = false;  // interleaved only: samples were lost, or no speaker was heard twice; times are not to be trusted
};

/// `quick` looks at some pairs of sweeps and at all when these disagree; `thorough` looks at all.
enum class Thoroughness { quick, thorough };

/// Finds the start, the clock and what was lost. `channel` is the loopback where there is one, else the microphone.
/// @param known_start_s  what find_start said of this channel; empty: it is asked
/// @returns empty when the sweeps are not in the channel
[[nodiscard]] std::optional<Synchronisation> synchronise(const Stimulus& stimulus, std::span<const float> channel,
                                                         double nominal_rate_hz, Thoroughness thoroughness,
                                                         unsigned threads, std::optional<double> known_start_s = {});

/// Whether a sweep that arrives at `zero_frame` lies within a recording of so many frames.
[[nodiscard]] bool inside_recording(const Stimulus& stimulus, std::size_t sweep, double zero_frame, double rate_hz,
                                    std::size_t frames);

}  // namespace ringtrue
