#pragma once

#include <optional>
#include <span>
#include <string>

#include "ringtrue/core/finding.hpp"
#include "ringtrue/placement/locate.hpp"
#include "ringtrue/rig/rig.hpp"

namespace ringtrue {

/// Compares where speakers were found with where they belong (nominal_place): `swapped-outputs` for those that stand in
/// each other's places (both named), `wrong-place` for those 6 degrees or more outside their range, with how to move
/// them, `place-unsure` (one for all) for those that may be 10 degrees out as far as can be told, `uneven-pair` (note)
/// for left-right pairs that are no mirror image. Speakers that belong nowhere are not judged.
/// @param found  one entry a speaker of the rig
[[nodiscard]] Findings judge_places(const Rig& rig, std::span<const std::optional<Located>> found);

/// "14 cm to the left, 6 cm back, 10 cm up": a way through the room, in whole centimetres.
[[nodiscard]] std::string movement_words(Point way);

}  // namespace ringtrue
