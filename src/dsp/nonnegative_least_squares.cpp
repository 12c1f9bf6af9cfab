#include "ringtrue/dsp/nonnegative_least_squares.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <cstddef>

namespace ringtrue {
namespace {

using Matrix = Eigen::Map<const Eigen::Matrix<double, Eigen::Dynamic, Eigen::Dynamic, Eigen::RowMajor>>;
using Vector = Eigen::VectorXd;

/// Unconstrained solution over the free unknowns only; the others are zero.
Vector solve_free(const Matrix& gram, const Vector& target, const std::vector<Eigen::Index>& free) {
  const auto size = static_cast<Eigen::Index>(free.size());
  Eigen::MatrixXd part(size, size);
  Vector wanted(size);
  for (Eigen::Index i = 0; i < size; ++i) {
    wanted[i] = target[free[static_cast<std::size_t>(i)]];
    for (Eigen::Index j = 0; j < size; ++j) {
      part(i, j) = gram(free[static_cast<std::size_t>(i)], free[static_cast<std::size_t>(j)]);
    }
  }
  part.diagonal() *= 1.0 + 1e-12;  // keeps neighbours that are almost alike apart
  const Vector solution = part.ldlt().solve(wanted);
  Vector x = Vector::Zero(target.size());
  for (Eigen::Index i = 0; i < size; ++i) x[free[static_cast<std::size_t>(i)]] = solution[i];
  return x;
}

/// Walks from x towards `wanted` until the first free unknown reaches zero, and lets those that did go.
void step_to_boundary(Vector& x, const Vector& wanted, std::vector<Eigen::Index>& free) {
  double step = 1.0;
  for (const Eigen::Index i : free) {
    if (wanted[i] <= 0.0 && x[i] > wanted[i]) step = std::min(step, x[i] / (x[i] - wanted[i]));
  }
  x += step * (wanted - x);
  std::erase_if(free, [&](Eigen::Index i) {
    if (x[i] > 1e-14) return false;
    x[i] = 0.0;
    return true;
  });
}

}  // namespace

NonnegativeSolution nonnegative_least_squares(std::span<const double> gram, std::span<const double> target,
                                              double energy, std::span<const double> near) {
  const auto n = static_cast<Eigen::Index>(target.size());
  const Matrix A{gram.data(), n, n};
  const Vector b = Eigen::Map<const Vector>{target.data(), n};
  const double tolerance = 1e-9 * std::max(b.cwiseAbs().maxCoeff(), 1e-300);
  Vector x = Vector::Zero(n);
  std::vector<Eigen::Index> free;
  const auto settle = [&] {  // x: the best over the free unknowns, of which some may be let go
    for (Vector wanted = solve_free(A, b, free);; wanted = solve_free(A, b, free)) {
      const bool feasible = std::ranges::all_of(free, [&](Eigen::Index i) { return wanted[i] > 0.0; });
      if (feasible || free.empty()) {
        x = wanted;
        return;
      }
      step_to_boundary(x, wanted, free);
    }
  };
  for (Eigen::Index i = 0; i < std::ssize(near); ++i) {
    if (near[static_cast<std::size_t>(i)] <= 0.0) continue;
    x[i] = near[static_cast<std::size_t>(i)];
    free.push_back(i);
  }
  if (!free.empty()) settle();
  for (Eigen::Index round = 0; round < 3 * n; ++round) {
    const Vector slope = b - A * x;
    Eigen::Index best = -1;
    for (Eigen::Index i = 0; i < n; ++i) {
      const bool is_free = std::ranges::find(free, i) != free.end();
      if (!is_free && slope[i] > tolerance && (best < 0 || slope[i] > slope[best])) best = i;
    }
    if (best < 0) break;
    free.push_back(best);
    settle();
  }
  const double residual = energy - 2.0 * b.dot(x) + x.dot(A * x);
  return {{x.data(), x.data() + n}, std::sqrt(std::max(residual, 0.0))};
}

}  // namespace ringtrue
