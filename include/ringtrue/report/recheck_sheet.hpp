#pragma once

#include <string>

#include "ringtrue/calibration/recheck.hpp"

namespace ringtrue {

/// The re-check for people: what has changed, one row a speaker in output order with old and new values side by side,
/// then the findings in words; every line at most 80 columns, ends with a newline.
[[nodiscard]] std::string format_recheck_sheet(const Recheck& recheck);

}  // namespace ringtrue
