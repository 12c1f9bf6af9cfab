#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "microphone_table.hpp"
#include "ringtrue/response/microphone_response.hpp"

namespace ringtrue::mic_file {

/// What the line above the table says of its columns.
struct ColumnHeading {
  std::size_t line = 0;
  std::string text;  // lower case
};

/// The last line above the table that names columns, the first of them a frequency.
[[nodiscard]] std::optional<ColumnHeading> column_heading(const std::vector<TextLine>& before);

/// What the heading makes of a third column of numbers.
enum class ThirdColumn { phase, radians, other };
[[nodiscard]] ThirdColumn third_column(const ColumnHeading& heading);

/// A unit other than dB that the heading gives for the levels; empty when it gives none.
[[nodiscard]] std::string foreign_level_unit(const ColumnHeading& heading);

/// True where a line speaks of sensitivity, in words or by its unit.
[[nodiscard]] bool mentions_sensitivity(std::string_view line);

/// A number and its unit in such a line, whichever comes first: "Sens Factor =-0.545dB", "in mV/Pa 12.34". A level
/// beside a frequency ("1000Hz -38.5") is in dB, as the whole table is.
[[nodiscard]] std::optional<MicrophoneSensitivity> sensitivity_in(std::string_view line);

}  // namespace ringtrue::mic_file
