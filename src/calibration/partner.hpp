#pragma once

#include <cstddef>
#include <optional>
#include <vector>

#include "ringtrue/rig/rig.hpp"

namespace ringtrue {

/// The speaker on the other side: Lss for Rss, by its label; empty for those in the middle.
[[nodiscard]] std::optional<std::size_t> partner_of(const Rig& rig, std::size_t speaker);

/// All other speakers, those first whose values are likeliest typed into the wrong field: the partner, then those on
/// the next outputs.
[[nodiscard]] std::vector<std::size_t> others_by_nearness(const Rig& rig, std::size_t speaker);

}  // namespace ringtrue
