#pragma once

#include <string>
#include <variant>
#include <vector>

#include "microphone_table.hpp"

namespace ringtrue::mic_file {

/// Why cells are no row, and what to do about it.
struct RowFault {
  std::string what;
  std::string remedy;
};

/// Reads cells as frequency, level and perhaps phase, each with or without its unit. From the first cell on that is
/// neither a number nor a unit, the rest is a remark. `line` and `text` are left to
/// the caller.
[[nodiscard]] std::variant<MicrophoneRow, RowFault> read_row(const std::vector<Cell>& cells);

}  // namespace ringtrue::mic_file
