#pragma once

#include <cstddef>
#include <vector>

#include "ringtrue/capture/virtual_room.hpp"
#include "ringtrue/rig/rig.hpp"

namespace ringtrue::card {

/// A virtual room as what a card's outputs do to the microphone.
struct RoomSound {
  std::vector<std::vector<double>> responses;  // per output, the interface's latency included
  std::vector<float> noise;                    // of the microphone, to be played in a loop
  std::size_t latency_frames = 0;              // of the loopback
};

/// Takes the responses by playing impulses in the room, so that card and `--virtual` are one and the same room; its
/// distortion, clock, start offset and recorder rate are left out.
[[nodiscard]] RoomSound sound_of(const VirtualRoom& room, const Rig& rig, std::size_t position, std::size_t outputs);

}  // namespace ringtrue::card
