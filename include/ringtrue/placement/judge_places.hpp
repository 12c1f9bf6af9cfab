#pragma once

#include <optional>
#include <span>
#include <vector>

#include "ringtrue/core/finding.hpp"
#include "ringtrue/placement/locate.hpp"
#include "ringtrue/rig/rig.hpp"

namespace ringtrue {

/// Compares where speakers were found with where their labels belong in the rig's layout: `swapped-outputs` for those
/// that stand in each other's places (both named), `wrong-place` for those more than 10 degrees outside their range,
/// with how to move them. Labels the layout does not know are not judged.
/// @param found  one entry a speaker of the rig
[[nodiscard]] Findings judge_places(const Rig& rig, std::span<const std::optional<Located>> found);

/// Nominal directions of the rig's mains, where the layout knows them; in the rig's order, others left out.
[[nodiscard]] std::vector<Direction> nominal_directions(const Rig& rig);

}  // namespace ringtrue
