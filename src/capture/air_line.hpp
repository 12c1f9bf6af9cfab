#pragma once

#include <cstddef>
#include <vector>

#include "ringtrue/capture/virtual_room.hpp"

namespace ringtrue {

/// Frames to keep of what happens after the stimulus, on the player's time line.
[[nodiscard]] std::size_t line_frames(const Stimulus& stimulus, double after_s);

/// The sound at a microphone before any recorder: every sweep through the speakers on its output, their models or
/// measured responses, and the room. On the player's clock, the interface's latency left out; 1.0 at the microphone is
/// what a full-scale output gives at 1 m. Sweeps are convolved in their places only, so silence costs nothing.
/// @param after_s  seconds past the stimulus's end to keep
[[nodiscard]] std::vector<double> sound_at_microphone(const VirtualRoom& room, const Rig& rig, const Stimulus& stimulus,
                                                      std::size_t position, double after_s, unsigned threads);

/// The sum of all outputs, as a wire carries it to a loopback input.
[[nodiscard]] std::vector<double> sum_of_outputs(const Stimulus& stimulus, double after_s);

}  // namespace ringtrue
