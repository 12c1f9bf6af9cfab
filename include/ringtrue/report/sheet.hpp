#pragma once

#include <string>

#include "ringtrue/calibration/calibration.hpp"

namespace ringtrue {

/// The plain-text sheet: what to type, one row a speaker in output order, then the findings in words; every line at
/// most 80 columns, ends with a newline.
[[nodiscard]] std::string format_sheet(const Calibration& calibration);

}  // namespace ringtrue
