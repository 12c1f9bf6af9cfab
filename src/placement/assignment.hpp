#pragma once

#include <cstddef>
#include <vector>

namespace ringtrue {

/// The one-to-one assignment of rows to columns of a square table with the least sum (Hungarian method; Kuhn 1955,
/// Munkres 1957), in O(n^3).
/// @returns the column of each row
[[nodiscard]] std::vector<std::size_t> least_assignment(const std::vector<std::vector<double>>& cost);

}  // namespace ringtrue
