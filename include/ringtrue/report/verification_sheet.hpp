#pragma once

#include <string>

#include "ringtrue/calibration/verification.hpp"

namespace ringtrue {

/// The verification for people: verdict, one row a speaker in output order with what was off and what may be, then the
/// findings in words; every line at most 80 columns, ends with a newline.
[[nodiscard]] std::string format_verification_sheet(const Verification& verification);

}  // namespace ringtrue
