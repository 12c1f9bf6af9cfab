#pragma once

#include <span>
#include <vector>

namespace ringtrue {

/// The minimiser of |A x - b| with x >= 0, from the normal equations.
struct NonnegativeSolution {
  std::vector<double> x;
  double residual = 0.0;  // |A x - b|
};

/// Active-set method of C. L. Lawson, R. J. Hanson, "Solving Least Squares Problems" (1974), chapter 23 (from memory).
///
/// @param gram    A'A, n x n, row by row
/// @param target  A'b, n values
/// @param energy  b'b
/// @param near    n values, none negative: where to begin, as the solution of much the same problem; empty: zero
[[nodiscard]] NonnegativeSolution nonnegative_least_squares(std::span<const double> gram,
                                                            std::span<const double> target, double energy,
                                                            std::span<const double> near = {});

}  // namespace ringtrue
