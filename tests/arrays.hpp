#pragma once

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <span>
#include <string>

namespace ringtrue::test {

/// Largest absolute difference of two arrays and where it is; for one CHECK per pair of arrays.
struct Worst {
  double difference = 0.0;
  std::size_t index = 0;
};

template <class A, class B>
[[nodiscard]] Worst worst_difference(const A& a, const B& b) {
  Worst worst;
  if (std::size(a) != std::size(b)) return {INFINITY, std::min(std::size(a), std::size(b))};
  for (std::size_t n = 0; n < std::size(a); ++n) {
    const double difference = std::abs(static_cast<double>(a[n]) - static_cast<double>(b[n]));
    if (!(difference <= worst.difference)) worst = {difference, n};
  }
  return worst;
}

}  // namespace ringtrue::test
