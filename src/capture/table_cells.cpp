#include "table_cells.hpp"

#include <algorithm>
#include <array>
#include <charconv>
#include <cstddef>
#include <system_error>

namespace ringtrue::mic_file {
namespace {

using namespace std::string_view_literals;

bool is_blank(char c) { return c == ' ' || c == '\t' || c == '\v' || c == '\f'; }
bool is_sign(char c) { return c == '+' || c == '-'; }
bool is_mark(char c) { return c == '.' || c == ','; }

/// What blanks count as: a tab where one is among them.
char blank_of(std::string_view blanks) { return blanks.find_first_not_of(' ') == std::string_view::npos ? ' ' : '\t'; }

char at(std::string_view text, std::size_t i) { return i < text.size() ? text[i] : '\0'; }

/// Cuts one line; `i_` is the place reached.
class Cutter {
 public:
  Cutter(std::string_view line, Dialect dialect, std::vector<Cell>& cells)
      : line_{line}, dialect_{dialect}, cells_{cells} {}

  void cut() {
    char separator = ';';  // as after one, so that a separator right here leaves an empty cell
    for (;;) {
      const std::size_t from = i_;
      while (is_blank(at(line_, i_))) ++i_;
      if (i_ == line_.size() || is_comment(i_)) break;
      if (is_separator(i_)) {
        if (separator != '\0') cells_.push_back({{}, false, separator});
        separator = line_[i_++];
        continue;
      }
      if (separator == '\0') separator = blank_of(line_.substr(from, i_ - from));
      cells_.push_back(line_[i_] == '"' ? quoted_cell() : plain_cell());
      cells_.back().separator = cells_.size() == 1 ? '\0' : separator;
      separator = '\0';
    }
    while (!cells_.empty() && cells_.back().text.empty()) cells_.pop_back();
  }

 private:
  [[nodiscard]] bool is_comment(std::size_t i) const {
    if (line_[i] == '#') return i == 0 || line_[i - 1] != '.';  // "-1.#IND" is what some programs print for NaN
    return line_[i] == ';' && dialect_.semicolon_is_comment;
  }

  [[nodiscard]] bool is_separator(std::size_t i) const {
    if (line_[i] == ';' || line_[i] == '|') return true;
    if (line_[i] != ',') return false;
    const char before = i == 0 ? '\0' : line_[i - 1];
    return !dialect_.comma_is_decimal || !(is_digit(before) || is_sign(before)) || !is_digit(at(line_, i + 1));
  }

  Cell quoted_cell() {
    const std::size_t from = i_ + 1;
    const std::size_t to = std::min(line_.find('"', from), line_.size());
    i_ = std::min(to + 1, line_.size());
    return {trimmed(line_.substr(from, to - from)), true, '\0'};
  }

  Cell plain_cell() {
    const std::size_t from = i_;
    while (i_ < line_.size() && !is_blank(line_[i_]) && !is_comment(i_) && !is_separator(i_)) ++i_;
    return {line_.substr(from, i_ - from), false, '\0'};
  }

  std::string_view line_;
  Dialect dialect_;
  std::vector<Cell>& cells_;
  std::size_t i_ = 0;
};

std::size_t past_digits(std::string_view text, std::size_t i) {
  while (is_digit(at(text, i))) ++i;
  return i;
}

/// End of an exponent ("e-3", "D+01") that begins at i, or i where none does.
std::size_t past_exponent(std::string_view text, std::size_t i) {
  if ("eEdD"sv.find(at(text, i)) == std::string_view::npos) return i;
  const std::size_t digits = i + (is_sign(at(text, i + 1)) ? 2 : 1);
  const std::size_t end = past_digits(text, digits);
  return end == digits ? i : end;
}

/// The value of digits that are known to be well formed.
std::optional<double> value_of(std::string_view digits) {
  std::string plain{digits.starts_with('+') ? digits.substr(1) : digits};
  std::ranges::replace(plain, ',', '.');
  std::ranges::replace_if(
      plain, [](char c) { return c == 'D' || c == 'd'; }, 'e');
  double value = 0.0;
  const auto [end, error] = std::from_chars(plain.data(), plain.data() + plain.size(), value);
  return error == std::errc{} ? std::optional{value} : std::nullopt;
}

}  // namespace

void split_cells(std::string_view line, Dialect dialect, std::vector<Cell>& cells) {
  cells.clear();
  Cutter{line, dialect, cells}.cut();
}

std::optional<Number> leading_number(std::string_view text) {
  const std::size_t first = is_sign(at(text, 0)) ? 1 : 0;
  std::size_t end = past_digits(text, first);
  std::size_t digits = end - first;
  char mark = '\0';
  if (is_mark(at(text, end))) {
    mark = text[end];
    const std::size_t fraction = end + 1;
    end = past_digits(text, fraction);
    digits += end - fraction;
  }
  if (digits == 0) return std::nullopt;
  end = past_exponent(text, end);
  if (".,'+-0123456789"sv.find(at(text, end)) != std::string_view::npos) return std::nullopt;
  const auto value = value_of(text.substr(0, end));
  if (!value) return std::nullopt;
  return Number{*value, mark, text.substr(end)};
}

bool begins_like_number(std::string_view text) {
  const char c = at(text, 0);
  const char next = at(text, 1);
  return is_digit(c) || ((is_sign(c) || is_mark(c)) && (is_digit(next) || is_sign(next) || is_mark(next)));
}

bool is_missing_mark(std::string_view text) {
  constexpr std::array marks{"n/a"sv,      "na"sv,     "n.a."sv, "#n/a"sv, "nan"sv,   "inf"sv,  "+inf"sv,  "-inf"sv,
                             "infinity"sv, "null"sv,   "none"sv, "nil"sv,  "-"sv,     "--"sv,   "---"sv,   "?"sv,
                             "x"sv,        "\u2014"sv, "err"sv,  "-nan"sv, "error"sv, "void"sv, "1.#inf"sv};
  return std::ranges::find(marks, lower_case(text)) != marks.end();
}

bool has_thousands_separator(std::string_view text) {
  if (!is_digit(at(text, is_sign(at(text, 0)) ? 1 : 0))) return false;
  const auto points = std::ranges::count(text, '.');
  const auto commas = std::ranges::count(text, ',');
  return (points > 0 && commas > 0) || commas > 1 || contains(text, "'") || contains(text, "\u2019");
}

Unit unit_of(std::string_view word) {
  const std::string unit = lower_case(word);
  if (unit.empty()) return Unit::none;
  if (unit == "hz") return Unit::hertz;
  if (unit == "khz" || unit == "k") return Unit::kilohertz;
  if (unit.starts_with("db") && unit.size() <= 5) return Unit::decibel;
  constexpr std::array degrees{"deg"sv, "deg."sv, "degree"sv, "degrees"sv, "\u00B0"sv, "\u00BA"sv, "grad"sv};
  if (std::ranges::find(degrees, unit) != degrees.end()) return Unit::degree;
  constexpr std::array foreign{"%"sv, "mv/pa"sv, "v/pa"sv, "mv"sv, "v"sv, "pa"sv, "rad"sv, "mhz"sv};
  return std::ranges::find(foreign, unit) != foreign.end() ? Unit::foreign : Unit::other;
}

bool is_number(std::string_view text) {
  const auto number = leading_number(text);
  return number && unit_of(trimmed(number->rest)) != Unit::other;
}

std::string_view trimmed(std::string_view text) {
  while (!text.empty() && is_blank(text.front())) text.remove_prefix(1);
  while (!text.empty() && is_blank(text.back())) text.remove_suffix(1);
  return text;
}

std::string lower_case(std::string_view text) {
  std::string result{text};
  for (char& c : result) {
    if (c >= 'A' && c <= 'Z') c = static_cast<char>(c - 'A' + 'a');
  }
  return result;
}

bool is_digit(char c) { return c >= '0' && c <= '9'; }

bool is_letter(char c) {
  return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || static_cast<unsigned char>(c) >= 0x80;
}

bool contains(std::string_view text, std::string_view part) { return text.find(part) != std::string_view::npos; }

}  // namespace ringtrue::mic_file
