#pragma once

#include <optional>
#include <string>
#include <vector>

#include "ringtrue/report/settings_table.hpp"

namespace ringtrue {

/// A number in the shortest form that shows it in full to a millionth, with the wanted decimal mark.
[[nodiscard]] std::string plain_number(double value, bool decimal_comma);

/// Speakers in the order of their outputs.
[[nodiscard]] std::vector<const SpeakerResult*> settings_order(const Calibration& calibration);

/// A delay to the digits that the unit's finest useful step has: what the calibration says in ms, 0.1 samples, 1 mm.
[[nodiscard]] double shown_delay(double delay_ms, DelayUnit unit, const Rig& rig);

[[nodiscard]] const char* short_name(DelayUnit unit);  // "ms", "samples", "m", "ft"
[[nodiscard]] const char* words(FilterShape shape);    // "peak", "low shelf", "high shelf"

}  // namespace ringtrue
