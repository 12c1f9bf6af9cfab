#pragma once

#include <vector>

#include "chart.hpp"
#include "ringtrue/calibration/bass_picture.hpp"

namespace ringtrue::page {

/// One chart for each main with the sub: its own level, the sub's, and both together before and after.
[[nodiscard]] std::vector<Chart> bass_charts(const BassPicture& picture);

}  // namespace ringtrue::page
