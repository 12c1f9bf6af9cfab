#pragma once

#include <cstddef>
#include <optional>
#include <span>
#include <vector>

#include "ringtrue/response/measurement.hpp"
#include "ringtrue/response/sweep_pair.hpp"
#include "ringtrue/response/synchronisation.hpp"
#include "ringtrue/stimulus/stimulus.hpp"

namespace ringtrue {

/// A whole recording through one inverse filter: the response of every output at its own time.
class LongResponses {
 public:
  /// @param rate_hz     the recorder's, in the player's seconds
  /// @param microphone  taken out of every response; none: taken as flat
  LongResponses(const Stimulus& stimulus, std::span<const float> channel, double rate_hz,
                const MicrophoneResponse* microphone, unsigned threads);

  /// `before` + `after` samples around the (fractional) frame at which the sweep would arrive at zero latency; that
  /// instant is sample `before`. Frames outside the recording count as silence.
  [[nodiscard]] std::vector<float> cut(std::size_t sweep, double zero_frame, std::size_t before,
                                       std::size_t after) const;

 private:
  const Stimulus& stimulus_;
  std::vector<std::vector<float>> by_shape_;
};

/// As `synchronise`, for sweeps that overlap. Sweeps follow each other so closely that a start that is off by one of
/// them fits nearly as well: of all starts that many sweeps agree on, the one is taken at which the speakers that play
/// twice sound the same both times. The clock comes from the same speakers. What was lost cannot be placed, as one
/// instant is in several sweeps: then `torn` is set.
[[nodiscard]] std::optional<Synchronisation> synchronise_interleaved(const Stimulus& stimulus,
                                                                     std::span<const float> channel,
                                                                     double nominal_rate_hz, unsigned threads);

/// Responses of all speakers, cut to what the schedule keeps clear around each. Those that play once have it twice.
struct InterleavedResponses {
  std::vector<PairResponse> pairs;  // as sweep_pairs; without disturbances, which cannot be told from other sweeps
  std::size_t zero_index = 0;
};
[[nodiscard]] InterleavedResponses respond_interleaved(const Stimulus& stimulus, std::span<const SweepPair> pairs,
                                                       std::span<const float> microphone, const Synchronisation& sync,
                                                       const MicrophoneResponse* response, unsigned threads);

/// As `loopback_arrival_ms`.
[[nodiscard]] std::optional<double> interleaved_loopback_arrival_ms(const Stimulus& stimulus,
                                                                    std::span<const float> loopback,
                                                                    const Synchronisation& sync, unsigned threads);

/// Checks the windows once everything is measured: what of other speakers reaches into each, from what is heard shortly
/// before its own response. Says so as a finding; takes a speaker that is no louder than what may reach over from
/// others for silent; no longer trusts one whose window is not clear enough. Arrivals must still count from
/// `zero_index`.
void check_windows(const Rig& rig, const Stimulus& stimulus, std::span<const SweepPair> pairs,
                   const InterleavedResponses& responses, const Synchronisation& sync,
                   PositionMeasurement& measurement);

}  // namespace ringtrue
