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

/// The longest of a sweep shape, in a recording of sweeps one after another.
[[nodiscard]] double longest_bass_s(const Stimulus& stimulus, std::size_t shape, const Synchronisation& sync,
                                    std::size_t channel_frames);

/// Cuts the long responses of a pair to what is clear of each; leaves none where they are no longer than the others.
/// @param zero_index  of its responses
void clear_long_bass(const Stimulus& stimulus, const SweepPair& pair, const Synchronisation& sync,
                     std::size_t channel_frames, std::size_t zero_index, PairResponse& response);

}  // namespace ringtrue
