#include "nearest_key.hpp"

#include <algorithm>
#include <cstddef>
#include <numeric>
#include <vector>

namespace ringtrue {
namespace {

/// Edit distance: insertions, deletions and substitutions cost 1 each (dynamic programming over one row).
std::size_t edits(std::string_view a, std::string_view b) {
  std::vector<std::size_t> row(b.size() + 1);
  std::iota(row.begin(), row.end(), std::size_t{0});
  for (std::size_t i = 0; i < a.size(); ++i) {
    std::size_t diagonal = row[0]++;
    for (std::size_t j = 0; j < b.size(); ++j) {
      const std::size_t substituted = diagonal + (a[i] == b[j] ? 0U : 1U);
      diagonal = row[j + 1];
      row[j + 1] = std::min({substituted, row[j] + 1, diagonal + 1});
    }
  }
  return row.back();
}

}  // namespace

std::string_view nearest_key(std::string_view key, std::span<const std::string_view> known) {
  const std::string_view start = key.substr(0, 64);  // beyond that nothing is near, and time is saved
  return *std::ranges::min_element(known, {}, [&](std::string_view candidate) { return edits(start, candidate); });
}

}  // namespace ringtrue
