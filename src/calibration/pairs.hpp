#pragma once

#include <cstddef>
#include <span>
#include <vector>

#include "ringtrue/rig/rig.hpp"

namespace ringtrue {

/// The rig's mains by what should be treated alike: left-right pairs (mirrored places of the layout, or labels that
/// differ in L and R, left and right only), every other main alone. @param takes_part  per speaker of the rig
[[nodiscard]] std::vector<std::vector<std::size_t>> left_right_groups(const Rig& rig,
                                                                      const std::vector<bool>& takes_part);

}  // namespace ringtrue
