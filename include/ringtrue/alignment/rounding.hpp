#pragma once

#include <array>
#include <optional>
#include <span>
#include <vector>

namespace ringtrue {

/// What an interface offers for one kind of value: a range and a step, same unit.
struct Steps {
  std::array<double, 2> range;
  double step;
};

/// A value on the interface's grid, and what rounding and range left undone.
struct Rounded {
  double value = 0.0;
  double remainder = 0.0;  // wanted minus value, after the common shift
  bool out_of_range = false;
};

/// Rounds values that matter only against each other: of all common shifts within half a step, the one whose largest
/// remainder is smallest is taken (the smallest shift among equals), then each value is rounded and clamped.
/// @param wanted  empty entries stay empty
[[nodiscard]] std::vector<std::optional<Rounded>> round_jointly(std::span<const std::optional<double>> wanted,
                                                                const Steps& steps);

}  // namespace ringtrue
