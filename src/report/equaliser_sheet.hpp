#pragma once

#include <string>
#include <vector>

#include "ringtrue/calibration/calibration.hpp"

namespace ringtrue {

/// The filters to type in, one a line, and what they are expected to do; empty where there are none.
/// @param rows  in the order to show them  @param label_columns  width of the speakers' column
[[nodiscard]] std::string format_equalisers(const Calibration& calibration,
                                            const std::vector<const SpeakerResult*>& rows, std::size_t label_columns);

}  // namespace ringtrue
