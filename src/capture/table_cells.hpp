#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace ringtrue::mic_file {

/// What the two signs that have two uses mean in a table of numbers.
struct Dialect {
  bool comma_is_decimal = true;      // "10,5 -7,3": a comma between digits is part of a number
  bool semicolon_is_comment = true;  // "10.5 -7.3 ; checked"; otherwise it separates cells
};

struct Cell {
  std::string_view text;
  bool quoted = false;
  char separator = '\0';  // between it and the cell before: ',' ';' '|' or, where only blanks are, tab or ' '
};

/// Cuts a line at tabs and blanks, ";", "|" and separating commas. Blanks never make an empty cell, the others do,
/// except at the end of the line. "#" outside quotes, or a commenting ";", ends the line.
void split_cells(std::string_view line, Dialect dialect, std::vector<Cell>& cells);

struct Number {
  double value = 0.0;
  char decimal_mark = '\0';  // '.' or ',' where it has one
  std::string_view rest;     // what follows it without a blank: a unit
};

/// The number a text begins with: sign, digits, one decimal mark, exponent. Empty for anything that would have to be
/// guessed: two signs, two decimal marks, thousands separators, "nan", values beyond the range of a double.
[[nodiscard]] std::optional<Number> leading_number(std::string_view text);

/// True where a number was meant, right or wrong: a digit first, or after a sign or decimal mark.
[[nodiscard]] bool begins_like_number(std::string_view text);

/// True for what people and programs write instead of a number: "n/a", "NaN", "-inf", "-", "?", ...
[[nodiscard]] bool is_missing_mark(std::string_view text);

/// True where a text that is no number seems to be one with its thousands set apart: "1,018.7", "10'000".
[[nodiscard]] bool has_thousands_separator(std::string_view text);

/// `foreign`: a unit that a microphone's table may have and this program does not take; `other`: no known unit.
enum class Unit { none, hertz, kilohertz, decibel, degree, foreign, other };

[[nodiscard]] Unit unit_of(std::string_view word);

/// True for a number alone or with a known unit.
[[nodiscard]] bool is_number(std::string_view text);

[[nodiscard]] std::string_view trimmed(std::string_view text);
[[nodiscard]] std::string lower_case(std::string_view text);  // of A-Z only
[[nodiscard]] bool is_digit(char c);
[[nodiscard]] bool is_letter(char c);  // of A-Z, and every character beyond ASCII
[[nodiscard]] bool contains(std::string_view text, std::string_view part);

}  // namespace ringtrue::mic_file
