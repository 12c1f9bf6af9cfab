#pragma once

#include "json_numbers.hpp"
#include "json_reader.hpp"
#include "ringtrue/calibration/room.hpp"

namespace ringtrue::json {

/// The top-level "room". Bands are columns: arrays of equal length under "octaves" and "third_octaves".
[[nodiscard]] Object format_room(const RoomResult& room);
[[nodiscard]] RoomResult read_room(const Reader& reader);

/// A speaker's "room", inside "measured".
[[nodiscard]] Object format_speaker_room(const SpeakerRoom& room);
[[nodiscard]] SpeakerRoom read_speaker_room(const Reader& reader);

}  // namespace ringtrue::json
