#include "microphone_heading.hpp"

#include <algorithm>
#include <array>

namespace ringtrue::mic_file {
namespace {

using namespace std::string_view_literals;

constexpr std::size_t longest_remark = 500;  // characters that are searched for a sensitivity

/// True where `word` stands in `text` with no letter on either side.
bool has_word(std::string_view text, std::string_view word) {
  for (auto i = text.find(word); i != std::string_view::npos; i = text.find(word, i + 1)) {
    const auto end = i + word.size();
    if ((i == 0 || !is_letter(text[i - 1])) && (end == text.size() || !is_letter(text[end]))) return true;
  }
  return false;
}

std::size_t count(std::string_view text, std::string_view part) {
  std::size_t found = 0;
  for (auto i = text.find(part); i != std::string_view::npos; i = text.find(part, i + part.size())) ++found;
  return found;
}

/// "Frequency [Hz]; Level", "freq mag", "# Hz dB", "f/Hz ...", and the same in other tongues (fréquence, Frequenz).
bool names_columns(std::string_view text) {
  constexpr std::array frequency{"freq"sv, "frec"sv, "frek"sv, "fr\u00E9q"sv, "hz"sv, "khz"sv};
  const bool f_alone = text.starts_with('f') && (text.size() == 1 || !is_letter(text[1]));
  if (!f_alone && std::ranges::none_of(frequency, [&](auto word) { return text.starts_with(word); })) return false;
  const auto words = 1 + count(text, " ");
  return contains(text, "db") || text.find_first_of("\t,;|") != std::string_view::npos || contains(text, "  ") ||
         words == 2 || words == 3;
}

/// True where an angle is meant that is no direction of sound: "deg" and "degrees", but not "90 deg".
bool has_angle_unit(std::string_view text) {
  constexpr std::array units{"deg"sv, "grad"sv, "\u00B0"sv};
  return std::ranges::any_of(units, [&](std::string_view unit) {
    const auto i = text.find(unit);
    if (i == std::string_view::npos) return false;
    const auto before = text.find_last_not_of(" -", i == 0 ? 0 : i - 1);
    return before == std::string_view::npos || !is_digit(text[before]);
  });
}

constexpr std::string_view around_words = " \t\"'#*;%!/|[(,:=";

std::string_view without_signs(std::string_view line) {
  return line.substr(std::min(line.find_first_not_of(around_words), line.size()));
}

/// The word at the beginning of a text, up to what cannot belong to a unit.
std::string_view word_of(std::string_view text) {
  const auto begin = std::min(text.find_first_not_of(" \t"), text.size());
  return text.substr(begin, text.find_first_of(" \t,;:\"'=)]|", begin) - begin);
}

bool is_sensitivity_unit(std::string_view word) {
  const std::string unit = lower_case(word);
  constexpr std::array others{"mv"sv, "v"sv, "pa"sv};
  return unit.starts_with("db") || unit.ends_with("/pa") || contains(unit, "v/") ||
         std::ranges::find(others, unit) != others.end();
}

struct Found {
  Number number;
  std::string_view unit;
};

/// All numbers of a line with the word that follows each.
std::vector<Found> numbers_in(std::string_view line) {
  std::vector<Found> found;
  for (std::size_t i = 0; i < line.size(); ++i) {
    const bool inside_word = i > 0 && (is_letter(line[i - 1]) || is_digit(line[i - 1]) || line[i - 1] == '/');
    if (inside_word || !begins_like_number(line.substr(i))) continue;
    const auto cell = line.substr(i, line.find_first_of(" \t;\"=", i) - i);
    auto number = leading_number(cell);
    if (!number && cell.ends_with(',')) number = leading_number(cell.substr(0, cell.size() - 1));
    if (!number) continue;
    const std::size_t end = i + static_cast<std::size_t>(number->rest.data() - cell.data());
    found.push_back({*number, word_of(line.substr(end))});
    i = end - 1;
  }
  return found;
}

std::string_view unit_before(std::string_view line) {
  while (!line.empty()) {
    line.remove_prefix(std::min(line.find_first_not_of(" \t\"'(["), line.size()));
    const std::string_view word = word_of(line);
    if (contains(lower_case(word), "/pa")) return word;
    line.remove_prefix(std::min(std::max<std::size_t>(1, word.size()), line.size()));
  }
  return {};
}

}  // namespace

std::optional<ColumnHeading> column_heading(const std::vector<TextLine>& before) {
  for (auto line = before.rbegin(); line != before.rend(); ++line) {
    std::string text = lower_case(without_signs(line->text));
    if (names_columns(text)) return ColumnHeading{line->line, std::move(text)};
  }
  return std::nullopt;
}

ThirdColumn third_column(const ColumnHeading& heading) {
  constexpr std::array names{"phas"sv, "fas"sv, "angle"sv, "winkel"sv, "\u03C6"sv};
  const std::string& text = heading.text;
  if (has_word(text, "rad") || contains(text, "radian")) return ThirdColumn::radians;
  if (count(text, "db") > 1) return ThirdColumn::other;  // a second level, of another direction or tolerance
  const auto is_named = [&](std::string_view name) { return contains(text, name); };
  return std::ranges::any_of(names, is_named) || has_angle_unit(text) ? ThirdColumn::phase : ThirdColumn::other;
}

std::string foreign_level_unit(const ColumnHeading& heading) {
  if (contains(heading.text, "db")) return {};
  constexpr std::array words{"linear"sv, "lin"sv, "mv/pa"sv, "v/pa"sv, "mv"sv, "pa"sv, "percent"sv, "ratio"sv};
  const auto word = std::ranges::find_if(words, [&](std::string_view w) { return has_word(heading.text, w); });
  if (word != words.end()) return std::string{*word};
  return contains(heading.text, "%") ? "%" : "";
}

bool mentions_sensitivity(std::string_view line) {
  line = line.substr(0, longest_remark);
  const std::string text = lower_case(line);
  constexpr std::array names{"sens"sv, "empfindlich"sv, "/pa"sv};
  if (std::ranges::any_of(names, [&](std::string_view name) { return contains(text, name); })) return true;
  const auto numbers = numbers_in(line);  // "*1000Hz -38.5"
  return numbers.size() == 2 && unit_of(numbers[0].unit) == Unit::hertz && begins_like_number(without_signs(line));
}

std::optional<MicrophoneSensitivity> sensitivity_in(std::string_view line) {
  line = line.substr(0, longest_remark);
  auto numbers = numbers_in(line);
  for (const Found& found : numbers) {
    if (is_sensitivity_unit(found.unit)) return MicrophoneSensitivity{found.number.value, std::string{found.unit}};
  }
  const auto is_frequency = [](const Found& found) {
    return unit_of(found.unit) == Unit::hertz || unit_of(found.unit) == Unit::kilohertz;
  };
  const bool has_frequency = std::erase_if(numbers, is_frequency) > 0;
  if (numbers.size() != 1 || !numbers[0].unit.empty()) return std::nullopt;
  if (const auto unit = unit_before(line); !unit.empty()) {
    return MicrophoneSensitivity{numbers[0].number.value, std::string{unit}};
  }
  if (!has_frequency || !begins_like_number(without_signs(line))) return std::nullopt;
  return MicrophoneSensitivity{numbers[0].number.value, "dB"};
}

}  // namespace ringtrue::mic_file
