#pragma once

#include <optional>
#include <string>

#include "microphone_heading.hpp"
#include "microphone_table.hpp"
#include "ringtrue/response/microphone_response.hpp"

namespace ringtrue::mic_file {

/// The table's rows as a curve, frequencies ascending.
///
/// @throws InvalidInput  "name:LINE: what; remedy" for frequencies that are none or in kHz, frequencies that occur
/// twice
///                       or begin again, levels beyond 40 dB, phases beyond 100 turns, columns in other units, and for
///                       fewer than two points
[[nodiscard]] MicrophoneResponse microphone_curve(const MicrophoneTable& table,
                                                  const std::optional<ColumnHeading>& heading, const std::string& name);

/// True when the rows neither rise nor fall throughout.
[[nodiscard]] bool is_shuffled(const std::vector<MicrophoneRow>& rows);

}  // namespace ringtrue::mic_file
