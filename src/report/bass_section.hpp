#pragma once

#include <string>

#include "ringtrue/calibration/calibration.hpp"

namespace ringtrue {

/// The sheet's part on the low end: where each speaker falls off in the room, its crossover, the noise, and what the
/// LFE needs. Lines of at most 80 columns, a blank one first; empty where nothing of it is known.
[[nodiscard]] std::string bass_section(const Calibration& calibration);

}  // namespace ringtrue
