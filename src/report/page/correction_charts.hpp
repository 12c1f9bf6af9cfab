#pragma once

#include <optional>

#include "chart.hpp"
#include "ringtrue/calibration/calibration.hpp"

namespace ringtrue::page {

/// One loudspeaker's response in third octaves: every mic position, their power average, the target, and what the
/// average is expected to be with the settings. Empty where there is no correction to draw.
[[nodiscard]] std::optional<Chart> response_chart(const Calibration& calibration, std::size_t index);

/// All loudspeakers' averages overlaid, as measured (`after` false) or as expected with the settings.
[[nodiscard]] std::optional<Chart> overlay_chart(const Calibration& calibration, bool after);

}  // namespace ringtrue::page
