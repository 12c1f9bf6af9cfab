#pragma once

#include <optional>
#include <string>
#include <vector>

#include "ringtrue/report/settings_table.hpp"

namespace ringtrue {

inline constexpr double metres_per_foot = 0.3048;  // exactly: international yard and pound agreement of 1959

/// A number in the shortest form that shows it in full to a millionth, with the wanted decimal mark.
[[nodiscard]] std::string plain_number(double value, bool decimal_comma);

/// A delay to the digits that the unit's finest useful step has: what the calibration says in ms, 0.1 samples, 1 mm.
[[nodiscard]] double shown_delay(double delay_ms, DelayUnit unit, const Calibration& calibration);

/// As found with the places, else at the room's temperature.
[[nodiscard]] double speed_of_sound_m_s(const Calibration& calibration);

[[nodiscard]] const char* short_name(DelayUnit unit);  // "ms", "samples", "m", "ft"

/// Decimals that show every value in full, at most 4: a tenth of a microsecond and less than anyone hears.
[[nodiscard]] int decimals_needed(const std::vector<double>& values);

}  // namespace ringtrue
