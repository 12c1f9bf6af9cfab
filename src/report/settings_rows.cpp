#include "settings_rows.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <string_view>

namespace ringtrue {
double speed_of_sound_m_s(const Calibration& calibration) {
  if (calibration.locating) return calibration.locating->speed_of_sound_m_s;
  return speed_of_sound(Celsius{calibration.rig.room.temperature_c}).value();
}

double in_unit(double delay_ms, DelayUnit unit, const Calibration& calibration) {
  const double metres = delay_ms * 1e-3 * speed_of_sound_m_s(calibration);
  switch (unit) {
    case DelayUnit::milliseconds: return delay_ms;
    case DelayUnit::samples: return delay_ms * 1e-3 * calibration.rig.interface.sample_rate_hz;
    case DelayUnit::metres: return metres;
    case DelayUnit::feet: return metres / metres_per_foot;
  }
  return delay_ms;
}

double shown_delay(double delay_ms, DelayUnit unit, const Calibration& calibration) {
  if (unit == DelayUnit::milliseconds) return delay_ms;
  const double scale = unit == DelayUnit::samples ? 10.0 : 1'000.0;
  return std::round(in_unit(delay_ms, unit, calibration) * scale) / scale;
}

bool has_decimal_comma(const std::string& locale) {
  constexpr std::array<std::string_view, 22> languages{"bg", "cs", "da", "de", "el", "es", "et", "fi",
                                                       "fr", "hr", "hu", "it", "nb", "nl", "no", "pl",
                                                       "pt", "ro", "ru", "sv", "tr", "uk"};
  constexpr std::array<std::string_view, 3> exceptions{"de_CH", "es_MX", "it_CH"};
  const std::string name = locale.substr(0, locale.find('.'));
  if (std::ranges::find(exceptions, name) != exceptions.end()) return false;
  return std::ranges::find(languages, name.substr(0, name.find_first_of("_-"))) != languages.end();
}

std::string plain_number(double value, bool decimal_comma) {
  std::string text = fmt::format("{:.6f}", std::round(value * 1e6) / 1e6 + 0.0);
  text.erase(text.find_last_not_of('0') + 1);
  if (text.back() == '.') text.pop_back();
  if (decimal_comma) std::ranges::replace(text, '.', ',');
  return text;
}

std::string with_decimal_commas(std::string_view text) {
  const auto is_digit = [](char c) { return c >= '0' && c <= '9'; };
  const auto is_number = [&](char c) { return is_digit(c) || c == '.'; };
  const auto is_name = [](char c) { return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || c == '_' || c == '/'; };
  std::string result{text};
  for (std::size_t from = 0; from < text.size();) {
    if (!is_digit(text[from])) {
      ++from;
      continue;
    }
    std::size_t to = from;
    while (to < text.size() && is_number(text[to])) ++to;
    std::string_view number = text.substr(from, to - from);
    while (number.ends_with('.')) number.remove_suffix(1);  // the end of a sentence
    const char after = to < text.size() ? text[to] : ' ';
    const bool goes_on = is_name(after) || (after == '-' && to + 1 < text.size() && is_name(text[to + 1]));
    const bool in_a_name = goes_on || (from > 0 && (is_name(text[from - 1]) || text[from - 1] == '.'));
    if (!in_a_name && std::ranges::count(number, '.') == 1) result[from + number.find('.')] = ',';
    from = to;
  }
  return result;
}

const char* short_name(DelayUnit unit) {
  switch (unit) {
    case DelayUnit::milliseconds: return "ms";
    case DelayUnit::samples: return "samples";
    case DelayUnit::metres: return "m";
    case DelayUnit::feet: return "ft";
  }
  return "ms";
}

int decimals_needed(const std::vector<double>& values) {
  for (int decimals = 0; decimals < 4; ++decimals) {
    const double scale = std::pow(10.0, decimals);
    const auto whole = [&](double value) { return std::abs(value * scale - std::round(value * scale)) < 1e-4; };
    if (std::ranges::all_of(values, whole)) return decimals;
  }
  return 4;
}

}  // namespace ringtrue
