#include "microphone_row.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <utility>

namespace ringtrue::mic_file {
namespace {

constexpr const char* correct_it = "correct this line or remove it";

RowFault not_a_number(std::string_view text, std::string_view what) {
  if (has_thousands_separator(text)) {
    return {fmt::format("{} has a thousands separator or two decimal marks", shown_text(text)),
            "write every number with one decimal mark and nothing else between its digits"};
  }
  return {fmt::format("{} is not a {}", shown_text(text), what), correct_it};
}

/// Reads numbers with their units, cell after cell.
class RowReader {
 public:
  explicit RowReader(const std::vector<Cell>& cells) : cells_{cells} {}

  std::variant<MicrophoneRow, RowFault> read() {
    if (auto fault = read_frequency()) return *std::move(fault);
    if (auto fault = read_gain()) return *std::move(fault);
    if (auto fault = read_phase()) return *std::move(fault);
    return row_;
  }

 private:
  struct Value {
    Number number;
    Unit unit;
    std::string_view unit_text;
  };

  [[nodiscard]] std::string_view text() const { return i_ < cells_.size() ? cells_[i_].text : std::string_view{}; }

  /// The number in this cell with its unit, from the same cell or the next; nothing where there is none.
  std::optional<Value> next_value() {
    if (!is_number(text())) return std::nullopt;
    const auto number = leading_number(text());
    if (number->decimal_mark != '\0') note_mark(number->decimal_mark);
    ++i_;
    Value value{*number, unit_of(trimmed(number->rest)), trimmed(number->rest)};
    if (value.unit != Unit::none || i_ == cells_.size()) return value;
    const Unit next = unit_of(text());
    if (next == Unit::none || next == Unit::other) return value;
    value.unit = next;
    value.unit_text = text();
    ++i_;
    return value;
  }

  void note_mark(char mark) {
    if (row_.decimal_mark == '\0') {
      row_.decimal_mark = mark;
      row_.marked = cells_[i_];
    }
    row_.mixed_marks = row_.mixed_marks || row_.decimal_mark != mark;
  }

  std::optional<RowFault> read_frequency() {
    const std::string_view here = text();
    const auto value = next_value();
    if (!value && (here.empty() || is_missing_mark(here))) return RowFault{"a level without a frequency", correct_it};
    if (!value) return not_a_number(here, "frequency");
    row_.frequency_text = here;
    row_.frequency_hz = value->number.value;
    if (value->unit == Unit::kilohertz) row_.frequency_hz *= 1'000.0;
    row_.frequency_has_unit = value->unit != Unit::none;
    if (value->unit == Unit::none || value->unit == Unit::hertz || value->unit == Unit::kilohertz) return std::nullopt;
    return RowFault{fmt::format("{} is no unit of frequency", shown_text(value->unit_text)),
                    "write the frequency in Hz first, then the level in dB"};
  }

  std::optional<RowFault> read_gain() {
    const Cell gain = i_ < cells_.size() ? cells_[i_] : Cell{};
    const std::string_view here = gain.text;
    const auto value = next_value();
    if (!value && here.empty()) {
      return RowFault{fmt::format("no level in dB for {} Hz", row_.frequency_hz), correct_it};
    }
    if (!value && is_missing_mark(here)) {
      return RowFault{fmt::format("no level in dB for {} Hz, but {}", row_.frequency_hz, shown_text(here)), correct_it};
    }
    if (!value) return not_a_number(here, "level in dB");
    row_.gain_db = value->number.value;
    gain_ = gain;
    if (value->unit == Unit::none || value->unit == Unit::decibel) return std::nullopt;
    return RowFault{fmt::format("a level in {}", shown_text(value->unit_text)), "write levels in dB"};
  }

  std::optional<RowFault> read_phase() {
    if (text().empty()) return std::nullopt;
    const Cell here = cells_[i_];
    if (here.quoted && !gain_.quoted) return std::nullopt;  // a remark
    const auto value = next_value();
    if (!value && begins_like_number(here.text) && !leading_number(here.text)) {
      return not_a_number(here.text, "phase in degrees");
    }
    if (!value) return std::nullopt;  // a remark
    if (value->unit != Unit::none && value->unit != Unit::degree) {
      return RowFault{fmt::format("a phase in {}", shown_text(value->unit_text)), "write phases in degrees"};
    }
    if (here.separator != gain_.separator && (here.separator == ',' || gain_.separator == ',')) {
      return RowFault{"columns separated in two ways", "separate them by semicolons or tabs only"};
    }
    row_.phase_deg = value->number.value;
    if (!is_number(text())) return std::nullopt;
    return RowFault{"more than three columns", "keep frequency in Hz, level in dB and, where known, phase in degrees"};
  }

  const std::vector<Cell>& cells_;
  std::size_t i_ = 0;
  Cell gain_;
  MicrophoneRow row_;
};

}  // namespace

std::variant<MicrophoneRow, RowFault> read_row(const std::vector<Cell>& cells) { return RowReader{cells}.read(); }

}  // namespace ringtrue::mic_file
