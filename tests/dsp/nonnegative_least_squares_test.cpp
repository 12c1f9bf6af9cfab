#include "ringtrue/dsp/nonnegative_least_squares.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <random>
#include <vector>

using namespace ringtrue;

namespace {

struct Problem {
  std::size_t rows;
  std::size_t columns;
  std::vector<double> A;  // row by row
  std::vector<double> b;

  [[nodiscard]] double at(std::size_t r, std::size_t c) const { return A[r * columns + c]; }
};

NonnegativeSolution solve(const Problem& p) {
  std::vector<double> gram(p.columns * p.columns);
  std::vector<double> target(p.columns);
  double energy = 0.0;
  for (std::size_t r = 0; r < p.rows; ++r) {
    energy += p.b[r] * p.b[r];
    for (std::size_t i = 0; i < p.columns; ++i) {
      target[i] += p.at(r, i) * p.b[r];
      for (std::size_t j = 0; j < p.columns; ++j) gram[i * p.columns + j] += p.at(r, i) * p.at(r, j);
    }
  }
  return nonnegative_least_squares(gram, target, energy);
}

std::vector<double> remainder_of(const Problem& p, const std::vector<double>& x) {
  std::vector<double> rest = p.b;
  for (std::size_t r = 0; r < p.rows; ++r) {
    for (std::size_t c = 0; c < p.columns; ++c) rest[r] -= p.at(r, c) * x[c];
  }
  return rest;
}

/// 12 x 8, entries even in -1..1; every fourth column almost the one before it, as echoes a millisecond apart are.
Problem random_problem(std::uint64_t seed) {
  std::mt19937_64 generator{seed};
  const auto next = [&] { return static_cast<double>(generator() >> 11) * 0x1.0p-52 - 1.0; };
  Problem p{12, 8, std::vector<double>(96), std::vector<double>(12)};
  for (double& a : p.A) a = next();
  for (double& b : p.b) b = next();
  for (std::size_t r = 0; r < p.rows; ++r) {
    for (const std::size_t c : {3U, 7U}) p.A[r * 8 + c] = p.at(r, c - 1) + 1e-3 * p.at(r, c);
  }
  return p;
}

}  // namespace

TEST_SUITE_BEGIN("dsp");

TEST_CASE("a hand-worked non-negative fit comes out") {
  // By hand: A = (1 1; 0 1; 0 0), b = (1, -2, 3). Without bounds x = (3, -2). With x2 >= 0 the second is zero and
  // x1 = <a1, b> / <a1, a1> = 1; what is left is (0, -2, 3), of length sqrt 13.
  const Problem p{3, 2, {1.0, 1.0, 0.0, 1.0, 0.0, 0.0}, {1.0, -2.0, 3.0}};
  const auto found = solve(p);
  REQUIRE(found.x.size() == 2);
  CHECK(std::abs(found.x[0] - 1.0) < 1e-9);
  CHECK(found.x[1] == 0.0);
  CHECK(std::abs(found.residual - std::sqrt(13.0)) < 1e-9);
}

TEST_CASE("a fit whose bounds do not bind is the ordinary one") {
  // By hand: A = (2 0; 0 4), b = (6, 2): x = (3, 1/2), nothing left.
  const auto found = solve({2, 2, {2.0, 0.0, 0.0, 4.0}, {6.0, 2.0}});
  CHECK(std::abs(found.x[0] - 3.0) < 1e-9);
  CHECK(std::abs(found.x[1] - 0.5) < 1e-9);
  CHECK(found.residual < 1e-5);  // from a difference of energies: the root of 40 times 1e-12
}

TEST_CASE("what points the other way is not fitted at all") {
  const auto found = solve({2, 2, {1.0, 0.0, 0.0, 1.0}, {-1.0, -2.0}});
  CHECK(found.x == std::vector<double>{0.0, 0.0});
  CHECK(std::abs(found.residual - std::sqrt(5.0)) < 1e-12);
}

TEST_CASE("no non-negative fit of random problems can be bettered") {
  // Karush, Kuhn and Tucker: with w = A'(b - A x), x >= 0, w <= 0, and w = 0 wherever x > 0. For a convex problem
  // these are enough for the minimum. Tolerances: the solver's own 1e-9 of the target, times its conditioning.
  for (std::uint64_t seed = 1; seed <= 50; ++seed) {
    CAPTURE(seed);
    const Problem p = random_problem(seed);
    const auto found = solve(p);
    const auto rest = remainder_of(p, found.x);
    double energy = 0.0;
    for (const double r : rest) energy += r * r;
    CHECK(std::abs(found.residual - std::sqrt(energy)) < 1e-6);
    for (std::size_t c = 0; c < p.columns; ++c) {
      CAPTURE(c);
      double w = 0.0;
      for (std::size_t r = 0; r < p.rows; ++r) w += p.at(r, c) * rest[r];
      CHECK(found.x[c] >= 0.0);
      CHECK(w < 1e-7);
      if (found.x[c] > 0.0) CHECK(std::abs(w) < 1e-7);
    }
  }
}

TEST_SUITE_END();
