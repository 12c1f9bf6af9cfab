#include "microphone_table.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>

#include "microphone_row.hpp"
#include "plain_text.hpp"
#include "ringtrue/core/errors.hpp"

namespace ringtrue::mic_file {
namespace {

using namespace std::string_view_literals;

enum class LineKind { blank, comment, text, row };

/// Only separators, as spreadsheets leave them (",,,"), or a ruler below a heading ("-----  -----").
bool is_blank_or_ruler(std::string_view line) {
  const auto only = [&](const char* characters) {
    return line.find_first_not_of(characters) == std::string_view::npos;
  };
  return only(" \t,;|") || (line.size() > 2 && only("-=_+|:*~. \t"));
}

/// Markdown tables begin each line with a bar.
std::string_view without_bar(std::string_view line) { return trimmed(line.starts_with('|') ? line.substr(1) : line); }

/// Lines whose first cell is no number: remarks and headings, but also rows whose frequency is missing.
LineKind kind_of_text(std::string_view line, Dialect dialect, std::vector<Cell>& cells) {
  if ("#;*'%!/"sv.find(line.front()) != std::string_view::npos) return LineKind::comment;
  split_cells(line, dialect, cells);
  if (cells.size() < 2) return line.front() == '"' ? LineKind::comment : LineKind::text;
  const bool lacks_frequency = cells[0].text.empty() || is_missing_mark(cells[0].text);
  return lacks_frequency && is_number(cells[1].text) ? LineKind::row : LineKind::text;
}

/// What a line is, going by how it begins. `cells` is scratch space.
LineKind kind_of(std::string_view line, Dialect dialect, std::vector<Cell>& cells) {
  if (is_blank_or_ruler(line)) return LineKind::blank;
  const char c = line.front();
  if (c == ';' && dialect.semicolon_is_comment) return LineKind::comment;
  const bool inside = c == ';' || c == ',' || c == '"';  // the number may come after it
  if (begins_like_number(inside ? trimmed(line.substr(1)) : line)) return LineKind::row;
  return kind_of_text(line, dialect, cells);
}

/// Three groups of digits between two equal signs: "2021-03-05", "5.3.2021", "3/5/21".
bool is_date(std::string_view text) {
  const auto first = text.find_first_not_of("0123456789");
  if (first == 0 || first == std::string_view::npos || contains(",;+", text.substr(first, 1))) return false;
  const auto second = text.find_first_not_of("0123456789", first + 1);
  return second != std::string_view::npos && second > first + 1 && text[second] == text[first] &&
         second + 1 < text.size() && text.find_first_not_of("0123456789", second + 1) == std::string_view::npos;
}

/// True where a line that begins like a number is a heading all the same: "90 degrees", "2021-03-05 12:30",
/// "1/3 octave", "1000 Hz = 12.5 mV/Pa".
bool is_heading(std::string_view line, const std::vector<Cell>& cells) {
  if (cells.empty() || contains(lower_case(line), "/pa")) return true;
  const std::string_view first = cells[0].text;
  const std::size_t units = cells.size() > 1 && unit_of(cells[1].text) == Unit::hertz ? 1 : 0;
  const Cell second = cells.size() > 1 + units ? cells[1 + units] : Cell{};
  if (is_number(second.text) || is_missing_mark(second.text)) return false;
  if (!is_number(first)) return is_date(first) || std::ranges::any_of(first, is_letter) || contains(first, "/");
  const bool whole = first.find_first_of(".,") == std::string_view::npos;
  return whole && second.separator == ' ' && !second.text.empty() && is_letter(second.text.front());
}

/// True where a dialect would throw numbers away: "1.018,7;-0,1" is no "1.018, 7" with a remark.
bool drops_numbers(std::string_view line, Dialect dialect) {
  if (dialect.comma_is_decimal || !dialect.semicolon_is_comment) return false;
  const auto semicolon = line.find(';');
  return semicolon != std::string_view::npos && begins_like_number(trimmed(line.substr(semicolon + 1)));
}

std::size_t count_rows(const std::vector<std::string_view>& lines, Dialect dialect) {
  constexpr std::size_t enough = 1'000;  // lines to tell one dialect from another
  std::size_t tried = 0;
  std::size_t rows = 0;
  std::vector<Cell> cells;
  for (const std::string_view line : lines) {
    const std::string_view content = without_bar(trimmed(line));
    if (kind_of(content, dialect, cells) != LineKind::row) continue;
    split_cells(content, dialect, cells);
    rows += std::holds_alternative<MicrophoneRow>(read_row(cells)) && !drops_numbers(content, dialect);
    if (++tried == enough) break;
  }
  return rows;
}

/// The dialect in which most lines are rows; the first of several.
Dialect dialect_of(const std::vector<std::string_view>& lines) {
  constexpr std::array dialects{Dialect{true, true}, Dialect{true, false}, Dialect{false, true}, Dialect{false, false}};
  std::array<std::size_t, dialects.size()> rows{};
  std::ranges::transform(dialects, rows.begin(), [&](Dialect dialect) { return count_rows(lines, dialect); });
  return dialects[static_cast<std::size_t>(std::ranges::max_element(rows) - rows.begin())];
}

/// Gathers the rows of a table, line by line.
class MicrophoneTableReader {
 public:
  MicrophoneTableReader(Dialect dialect, const std::string& name) : name_{name} { table_.dialect = dialect; }

  void read(std::size_t line, std::string_view content) {
    const LineKind kind = kind_of(content, table_.dialect, cells_);
    if (kind == LineKind::row) return read_row_at({line, content});
    if (kind == LineKind::blank) return;
    if (table_.rows.empty()) {
      table_.before.push_back({line, content});
    } else if (kind == LineKind::text) {
      table_.after.push_back({line, content});
    }
  }

  [[nodiscard]] MicrophoneTable finish() && { return std::move(table_); }

 private:
  [[noreturn]] void refuse(std::size_t line, const std::string& what, const std::string& remedy) const {
    throw InvalidInput{fmt::format("{}:{}", name_, line), what, remedy};
  }

  void read_row_at(TextLine line) {
    split_cells(line.text, table_.dialect, cells_);
    auto result = read_row(cells_);
    if (const auto* const fault = std::get_if<RowFault>(&result)) {
      if (!table_.rows.empty() || !is_heading(line.text, cells_)) refuse(line.line, fault->what, fault->remedy);
      table_.before.push_back(line);
      return;
    }
    auto& row = std::get<MicrophoneRow>(result);
    row.line = line.line;
    row.text = line.text;
    refuse_difference(row);
    table_.rows.push_back(row);
  }

  void refuse_difference(const MicrophoneRow& row) {
    if (!table_.after.empty()) {
      refuse(table_.after.front().line,
             fmt::format("text among the numbers ({})", shown_text(table_.after.front().text)),
             "give a file with one curve, and put # before remarks");
    }
    refuse_other_mark(row);
    if (table_.rows.empty() || row.phase_deg.has_value() == table_.rows.front().phase_deg.has_value()) return;
    refuse(row.line,
           row.phase_deg ? fmt::format("a third number, where line {} has none", table_.rows.front().line)
                         : fmt::format("no third number, where line {} has one", table_.rows.front().line),
           "write the same columns in every line, and numbers without thousands separators");
  }

  void refuse_other_mark(const MicrophoneRow& row) {
    constexpr const char* remedy = "write numbers with one decimal mark and no thousands separators";
    if (row.mixed_marks) refuse(row.line, "the numbers of this line have different decimal marks", remedy);
    if (row.decimal_mark == '\0') return;
    if (marked_.decimal_mark == '\0') marked_ = row;
    if (marked_.decimal_mark == row.decimal_mark) return;
    refuse(row.line,
           fmt::format("{} has another decimal mark than {} in line {}", shown_text(row.marked.text),
                       shown_text(marked_.marked.text), marked_.line),
           remedy);
  }

  const std::string& name_;
  MicrophoneTable table_;
  MicrophoneRow marked_;  // the first with a decimal mark
  std::vector<Cell> cells_;
};

}  // namespace

MicrophoneTable read_microphone_table(std::string_view text, const std::string& name) {
  const auto lines = lines_of(text);
  MicrophoneTableReader reader{dialect_of(lines), name};
  for (std::size_t i = 0; i < lines.size(); ++i) reader.read(i + 1, without_bar(trimmed(lines[i])));
  return std::move(reader).finish();
}

std::string shown_text(std::string_view text) {
  constexpr std::size_t longest = 30;
  std::size_t end = std::min(text.size(), longest);
  while (end < text.size() && end > 0 && (static_cast<unsigned char>(text[end]) & 0xC0U) == 0x80U) --end;
  std::string shown{text.substr(0, end)};  // whole characters only
  std::ranges::replace_if(
      shown, [](char c) { return c < ' ' && c >= '\t'; }, ' ');
  return fmt::format("\"{}{}\"", shown, end < text.size() ? "..." : "");
}

}  // namespace ringtrue::mic_file
