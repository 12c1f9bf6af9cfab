#pragma once

#include <algorithm>
#include <cstddef>
#include <functional>
#include <numeric>
#include <vector>

namespace ringtrue {

/// The indices [0, count) by size, the largest first, equals in order: the order in which threads take work. What takes
/// longest, begun last, would keep one of them busy alone.
/// @param size  size(i)
template <class Size>
[[nodiscard]] std::vector<std::size_t> largest_first(std::size_t count, const Size& size) {
  std::vector<std::size_t> order(count);
  std::iota(order.begin(), order.end(), std::size_t{0});
  std::ranges::stable_sort(order, std::ranges::greater{}, size);
  return order;
}

}  // namespace ringtrue
