#pragma once

#include <string>

#include "ringtrue/calibration/calibration.hpp"

namespace ringtrue {

/// A drawing of `calibration.bass_picture`: a panel for each main with its own level, the sub's, and their sum before
/// and after alignment, and the phase at the crossover in words. One <svg> element with its own style, light and dark,
/// for a file of its own or inside a page; UTF-8, ends with a newline. Empty where there is no picture.
[[nodiscard]] std::string draw_bass_picture(const Calibration& calibration);

}  // namespace ringtrue
