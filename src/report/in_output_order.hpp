#pragma once

#include <algorithm>
#include <vector>

#include "ringtrue/calibration/calibration.hpp"

namespace ringtrue {

/// The loudspeakers as the interface has them: by output.
[[nodiscard]] inline std::vector<const SpeakerResult*> in_output_order(const Calibration& calibration) {
  std::vector<const SpeakerResult*> rows;
  for (const auto& speaker : calibration.speakers) rows.push_back(&speaker);
  std::ranges::stable_sort(rows, {}, &SpeakerResult::output);
  return rows;
}

}  // namespace ringtrue
