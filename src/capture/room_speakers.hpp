#pragma once

#include <span>
#include <string>
#include <vector>

#include "ringtrue/capture/virtual_room.hpp"
#include "room_section.hpp"

namespace ringtrue {

/// The loudspeakers of a room file: the rig's in its order, with defaults where the file says nothing of them, then
/// those the rig does not know.
///
/// @param sections  the file's [[speaker]] tables
/// @param room      already read but for its speakers, which must stand inside it
/// @param file      its path: for messages, and relative file names are taken from its folder
/// @throws InvalidInput
[[nodiscard]] std::vector<VirtualSpeaker> read_speakers(std::span<const RoomSection> sections, const Rig& rig,
                                                        const VirtualRoom& room, const std::string& file);

}  // namespace ringtrue
