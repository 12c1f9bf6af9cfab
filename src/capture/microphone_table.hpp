#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "table_cells.hpp"

namespace ringtrue::mic_file {

/// One line of the table, its numbers not yet judged.
struct MicrophoneRow {
  std::size_t line = 0;   // counted from 1
  std::string_view text;  // the whole line
  double frequency_hz = 0.0;
  double gain_db = 0.0;
  std::optional<double> phase_deg;
  bool frequency_has_unit = false;
  std::string_view frequency_text;  // as written
  Cell marked;                      // the first of its numbers with a decimal mark
  char decimal_mark = '\0';
  bool mixed_marks = false;  // another of its numbers has the other mark
};

/// A line of text that is no row.
struct TextLine {
  std::size_t line = 0;
  std::string_view text;
};

struct MicrophoneTable {
  Dialect dialect;
  std::vector<MicrophoneRow> rows;  // in the file's order; all with a phase, or none
  std::vector<TextLine> before;     // comments and headings above the first row
  std::vector<TextLine> after;      // text below the last row that is not marked as a comment
};

/// Finds the rows of a text and what stands around them. What commas and semicolons mean is what makes sense of most
/// lines. The views look into `text`.
///
/// @throws InvalidInput  "name:LINE: what; remedy" for a line that seems to be a row and cannot be read as one, for
///                       lines that differ in their columns or decimal marks, and for text among the rows
[[nodiscard]] MicrophoneTable read_microphone_table(std::string_view text, const std::string& name);

/// `text` in quotes for a message, cut where it is long.
[[nodiscard]] std::string shown_text(std::string_view text);

}  // namespace ringtrue::mic_file
