#pragma once

#include <cstddef>
#include <span>

#include "ringtrue/response/sweep_pair.hpp"
#include "ringtrue/response/synchronisation.hpp"
#include "ringtrue/stimulus/stimulus.hpp"

namespace ringtrue {

/// How long after its arrival a subwoofer's response may be read: rooms keep their bass longest, and what plays next
/// passes the bass later than it begins. Seconds until then, 1.2 at most; 0 for other sweeps.
/// @param channel_frames  of the recording: it may end before
[[nodiscard]] double long_bass_s(const Stimulus& stimulus, std::size_t sweep, const Synchronisation& sync,
                                 std::size_t channel_frames);

/// Adds `first_long` and `second_long` to the pairs of subwoofers, of a recording of sweeps one after another.
/// @param before_s  of the responses, before zero latency
void lengthen_bass(const Stimulus& stimulus, std::span<const SweepPair> pairs, std::span<const float> channel,
                   const Synchronisation& sync, double before_s, const MicrophoneResponse* microphone, unsigned threads,
                   std::span<PairResponse> responses);

}  // namespace ringtrue
