#pragma once

#include <optional>
#include <span>
#include <vector>

#include "ringtrue/alignment/rounding.hpp"

namespace ringtrue {

/// A speaker's level as measured and as wanted against a main.
struct TrimInput {
  double level_db = 0.0;
  double above_mains_db = 0.0;  // 0 for mains and managed subs, +10 for an LFE-only sub
};

/// Trims that bring every level to one common level (plus `above_mains_db`), as loud as the range allows: the speaker
/// with the least to spare gets the highest trim. Where not all fit, as many as possible do.
/// @param speakers  empty: that speaker is left out
[[nodiscard]] std::vector<std::optional<Rounded>> level_trims_db(std::span<const std::optional<TrimInput>> speakers,
                                                                 const Steps& trim_db);

}  // namespace ringtrue
