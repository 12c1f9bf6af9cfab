#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "ringtrue/capture/recording.hpp"
#include "ringtrue/stimulus/stimulus.hpp"

namespace ringtrue {

/// What a recording did to time, judged from its loopback.
struct Continuity {
  enum class Verdict {
    whole,       // every sweep is there to the last sample, maybe at another lag than the one before
    spoiled,     // some sweeps are not
    two_clocks,  // the lag grows steadily: playing and recording run on two clocks
    unusable,    // hardly any sweep is like its fellows: the device converts or processes what it plays
    unheard,     // the loopback does not hold the sweeps
  };
  Verdict verdict = Verdict::whole;
  std::vector<std::int64_t> lags;  // of each sweep: frames it comes later than it was played
  std::vector<bool> spoiled;       // of each sweep
  std::int64_t usual_lag = 0;      // of most sweeps
  double drift_ppm = 0.0;          // slope of the lags
  double gain_spread_db = 0.0;     // between sweeps of one shape: more than 0.2 dB is automatic gain
  double residual_db = 0.0;        // what the median sweep's best block differs by from a fellow's
};

/// Compares every sweep in the loopback, block by block of 100 ms, with the others of the same shape.
///
/// A block is whole when it equals the same block of another sweep within -60 dB (with a noisy loopback: within eight
/// times the usual difference, at least -30 dB); a sweep is whole when all its blocks are. One lag in whole frames
/// must fit a sweep from end to end, so samples lost, put in or repeated inside it show in every block behind.
[[nodiscard]] Continuity judge_continuity(const Stimulus& stimulus, std::span<const float> loopback);

/// The recording with every sweep at the same lag: what lies between two sweeps is cut or filled with the sound before.
[[nodiscard]] Recording put_in_step(const Stimulus& stimulus, const Recording& recording,
                                    std::span<const std::int64_t> lags, std::int64_t usual_lag);

/// A stimulus of some sweeps of another, in its order; sweeps[i] stands for chosen[i] of the original.
[[nodiscard]] Stimulus stimulus_of(const Stimulus& whole, std::span<const std::size_t> chosen);

/// Puts sweeps that were played again in their place in the recording.
/// @param chosen  as given to stimulus_of  @param lags  of the sweeps in `again`  @param usual_lag  in `recording`
void splice(const Stimulus& whole, std::span<const std::size_t> chosen, const Stimulus& part, const Recording& again,
            std::span<const std::int64_t> lags, std::int64_t usual_lag, Recording& recording);

/// How much later a sweep comes in one recording than in another, frames; for microphones, which hear a room.
/// Empty when the two are not alike.
[[nodiscard]] std::optional<std::int64_t> lag_between(const Stimulus& stimulus, std::size_t sweep,
                                                      const Recording& recording, const Stimulus& other_stimulus,
                                                      std::size_t other_sweep, const Recording& other);

}  // namespace ringtrue
