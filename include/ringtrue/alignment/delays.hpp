#pragma once

#include <optional>
#include <span>
#include <vector>

#include "ringtrue/alignment/rounding.hpp"

namespace ringtrue {

/// Delays that make every direct sound arrive with the latest one: latest - arrival, plus the least delay the interface
/// has, rounded jointly.
/// @param arrivals_ms  empty: that speaker is left out
[[nodiscard]] std::vector<std::optional<Rounded>> align_delays_ms(std::span<const std::optional<double>> arrivals_ms,
                                                                  const Steps& delay_ms);

}  // namespace ringtrue
