#pragma once

#include <optional>
#include <span>
#include <string>
#include <vector>

#include "ringtrue/calibration/calibration.hpp"
#include "ringtrue/calibration/response_comparison.hpp"
#include "ringtrue/calibration/verification.hpp"

namespace ringtrue {

/// A slip in an equaliser that explains what is left between measured and expected levels.
struct EqualiserSlip {
  Suspicion suspicion;
  double louder_db = 0.0;  // what is left as a plain level once the slip is taken into account
  double left_db = 0.0;    // rms of what it does not explain
};

/// Another output's equaliser that might have been typed in here.
struct OtherEqualiser {
  std::string label;
  const std::vector<Filter>* filters = nullptr;
};

/// Tries, one at a time, every value of every filter over its whole range, every slip of a hand on it, filters left
/// out, and other outputs' equalisers. @returns the likeliest that explains the bands; empty when none does well
[[nodiscard]] std::optional<EqualiserSlip> find_equaliser_slip(const std::vector<Filter>& wanted,
                                                               std::span<const BandDifference> bands,
                                                               std::span<const OtherEqualiser> others, const Rig& rig);

}  // namespace ringtrue
