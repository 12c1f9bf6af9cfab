#pragma once

#include <optional>
#include <span>
#include <vector>

#include "ringtrue/response/clock.hpp"
#include "ringtrue/response/deconvolution.hpp"
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

/// The synchronisation with a recorder that runs at its nominal rate and loses nothing.
[[nodiscard]] Synchronisation nominal_synchronisation(const Stimulus& stimulus, double start_lag_s,
                                                      double nominal_rate_hz, std::size_t frames);

/// Around a sweep's first arrival: where the two sweeps of a speaker are compared for time.
constexpr ResponseWindow clock_window{0.05, 0.15};

/// Deconvolvers for every sweep shape, without a microphone's response.
[[nodiscard]] std::vector<Deconvolver> deconvolvers_for(const Stimulus& stimulus, double recorder_rate_hz,
                                                        ResponseWindow window, unsigned threads);

/// Whether the two sweeps of a speaker may lie on the recording anyhow, or as far apart as they were played.
enum class LagExpected { any, none };

/// How far a pair's sweeps lie apart, from their responses, both around the places that the nominal rate gives. Empty
/// where these are too unlike each other to tell.
[[nodiscard]] std::optional<SpanReading> span_between(const Stimulus& stimulus, const SweepPair& pair,
                                                      std::span<const float> first, std::span<const float> second,
                                                      double nominal_rate_hz, LagExpected expected);

/// True when a time line has steps, or spans that no clock explains.
[[nodiscard]] bool is_broken(const Timeline& timeline);

/// Whether a sweep that arrives at `zero_frame` lies within a recording of so many frames.
[[nodiscard]] bool inside_recording(const Stimulus& stimulus, std::size_t sweep, double zero_frame, double rate_hz,
                                    std::size_t frames);

}  // namespace ringtrue
