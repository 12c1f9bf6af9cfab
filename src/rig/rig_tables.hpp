#pragma once

#include <vector>

#include "ringtrue/rig/rig.hpp"
#include "table_reader.hpp"

namespace ringtrue {

/// Each reads one kind of table of rig.toml over the defaults. @throws InvalidInput
[[nodiscard]] RoomFacts read_room(const TableReader& table);
[[nodiscard]] Interface read_interface(const TableReader& table);
[[nodiscard]] BassManagement read_bass_management(const TableReader& table);
[[nodiscard]] MicrophoneFacts read_microphone(const TableReader& table);
[[nodiscard]] Speaker read_speaker(const TableReader& table, double sample_rate_hz);
[[nodiscard]] MicPosition read_position(const TableReader& table);

/// Refuses two speakers with one output, one label (capitals apart), or labels of one channel of the rig's layout
/// ("L" and "M+030"); the message names both lines.
/// @param tables  of rig.speakers, in the same order
void refuse_duplicates(const Rig& rig, const std::vector<TableReader>& tables);

}  // namespace ringtrue
