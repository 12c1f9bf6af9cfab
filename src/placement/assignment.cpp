#include "assignment.hpp"

#include <limits>

namespace ringtrue {

std::vector<std::size_t> least_assignment(const std::vector<std::vector<double>>& cost) {
  // Shortest augmenting paths with potentials; row and column 0 are a sentinel.
  const std::size_t n = cost.size();
  constexpr double infinite = std::numeric_limits<double>::infinity();
  std::vector<double> row_potential(n + 1, 0.0);
  std::vector<double> column_potential(n + 1, 0.0);
  std::vector<std::size_t> row_of(n + 1, 0);
  for (std::size_t row = 1; row <= n; ++row) {
    std::vector<double> least(n + 1, infinite);
    std::vector<std::size_t> before(n + 1, 0);
    std::vector<bool> used(n + 1, false);
    std::size_t column = 0;
    row_of[0] = row;
    while (row_of[column] != 0) {
      used[column] = true;
      const std::size_t here = row_of[column];
      double step = infinite;
      std::size_t next = 0;
      for (std::size_t j = 1; j <= n; ++j) {
        if (used[j]) continue;
        const double reduced = cost[here - 1][j - 1] - row_potential[here] - column_potential[j];
        if (reduced < least[j]) {
          least[j] = reduced;
          before[j] = column;
        }
        if (least[j] < step) {
          step = least[j];
          next = j;
        }
      }
      for (std::size_t j = 0; j <= n; ++j) {
        if (used[j]) {
          row_potential[row_of[j]] += step;
          column_potential[j] -= step;
        } else {
          least[j] -= step;
        }
      }
      column = next;
    }
    for (; column != 0; column = before[column]) row_of[column] = row_of[before[column]];
  }
  std::vector<std::size_t> column_of(n, 0);
  for (std::size_t j = 1; j <= n; ++j) column_of[row_of[j] - 1] = j - 1;
  return column_of;
}

}  // namespace ringtrue
