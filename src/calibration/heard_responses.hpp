#pragma once

#include <span>
#include <vector>

#include "ringtrue/correction/response_to_correct.hpp"
#include "ringtrue/response/measurement.hpp"

namespace ringtrue {

/// A speaker's responses at the mic positions where it was heard and is trusted, the listening position first; none
/// when it was not heard there. They refer to `positions`.
[[nodiscard]] std::vector<HeardResponse> heard_responses(const Rig& rig, std::span<const PositionMeasurement> positions,
                                                         std::size_t speaker);

}  // namespace ringtrue
