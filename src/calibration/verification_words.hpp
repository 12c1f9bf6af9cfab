#pragma once

#include "ringtrue/calibration/verification.hpp"

namespace ringtrue {

/// What the verdicts mean, in words: one finding `tolerance` a value that is off, speakers that are not heard, settings
/// that were not typed in at all; and what the measurement itself found, as notes where the verdict does not suffer.
void add_verification_findings(const Calibration& against, const PositionMeasurement& now, Verification& result);

}  // namespace ringtrue
