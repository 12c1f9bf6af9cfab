#pragma once

#include <vector>

#include "ringtrue/calibration/calibration.hpp"
#include "ringtrue/dsp/biquad.hpp"

namespace ringtrue {

/// The section that the interface makes of a filter; frequencies beyond half the sample rate are held below it.
[[nodiscard]] Biquad section_of(const Filter& filter, double sample_rate_hz);
[[nodiscard]] Cascade cascade_of(const std::vector<Filter>& filters, double sample_rate_hz);

}  // namespace ringtrue
