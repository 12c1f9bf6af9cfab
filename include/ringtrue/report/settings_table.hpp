#pragma once

#include <string>
#include <string_view>

#include "ringtrue/calibration/calibration.hpp"

namespace ringtrue {

/// In which unit the interface takes a delay.
enum class DelayUnit { milliseconds, samples, metres, feet };

struct SettingsTableOptions {
  DelayUnit delay_unit = DelayUnit::milliseconds;
  bool decimal_comma = false;  // "3,41"; a CSV's columns are then parted by semicolons
};

/// A delay in another unit: samples at the interface's rate, metres and feet (0.3048 m) at the speed of sound that was
/// found with the places, else at that of the room's temperature.
[[nodiscard]] double in_unit(double delay_ms, DelayUnit unit, const Calibration& calibration);

/// True where a locale's name ("de_DE", "fr", "C", "en_GB.UTF-8") writes a decimal comma; languages that are not known
/// take the point. Source: Unicode CLDR, common languages, from memory.
[[nodiscard]] bool has_decimal_comma(const std::string& locale);

/// A text whose numbers have a decimal comma for their point. Left as they are: what has two points (a version), and
/// what letters or the signs of paths touch (recording1.5.wav).
[[nodiscard]] std::string with_decimal_commas(std::string_view text);

/// All settings as CSV (RFC 4180: CR LF, quotes where needed), one row a setting in the order of the outputs: delay,
/// trim, polarity, then each filter. A header in words with units; numbers are plain numbers, so that a spreadsheet
/// takes them as such; what does not belong to a row stays empty.
[[nodiscard]] std::string format_settings_csv(const Calibration& calibration, const SettingsTableOptions& options = {});

/// What to type in as a list to tick off, one line a value, grouped by output: plain text of at most 80 columns with
/// wide spacing, to be read from a desk or printed.
[[nodiscard]] std::string format_typing_list(const Calibration& calibration, const SettingsTableOptions& options = {});

}  // namespace ringtrue
