#pragma once

#include <cstddef>
#include <string>

#include "ringtrue/calibration/calibration.hpp"

namespace ringtrue {

/// Distances and delays in the units interfaces ask for, and where each speaker was found; rows in output order, at
/// most 80 columns. Empty where nothing of it is known.
[[nodiscard]] std::string distance_table(const Calibration& calibration, std::size_t label_columns);

}  // namespace ringtrue
