#pragma once

#include <string>

#include "ringtrue/calibration/calibration.hpp"

namespace ringtrue {

/// What an equaliser cannot mend, as plain text of at most 80 columns: decay per band, early reflections, resonances,
/// background noise, and the speakers' distortion.
[[nodiscard]] std::string format_room(const Calibration& calibration);

}  // namespace ringtrue
