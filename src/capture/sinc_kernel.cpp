#include "sinc_kernel.hpp"

#include <cmath>
#include <numbers>

namespace ringtrue {
namespace {

/// Modified Bessel function of order 0: sum over k of ((x/2)^k / k!)^2.
double bessel_i0(double x) {
  double term = 1.0;
  double sum = 1.0;
  for (double k = 1.0; term > 1e-17 * sum; k += 1.0) {
    term *= (0.5 * x / k) * (0.5 * x / k);
    sum += term;
  }
  return sum;
}

double sinc(double x) { return x == 0.0 ? 1.0 : std::sin(std::numbers::pi * x) / (std::numbers::pi * x); }

}  // namespace

SincKernel::SincKernel(std::size_t taps, double attenuation_db, double cutoff, std::size_t fractions)
    : taps_{taps}, fractions_{fractions}, table_((fractions + 1) * taps) {
  const double beta = 0.1102 * (attenuation_db - 8.7);
  const double half = 0.5 * static_cast<double>(taps);
  for (std::size_t fraction = 0; fraction <= fractions; ++fraction) {
    const std::span row{table_.data() + fraction * taps, taps};
    double sum = 0.0;
    for (std::size_t k = 0; k < taps; ++k) {
      const double t =
          static_cast<double>(k) - (half - 1.0) - static_cast<double>(fraction) / static_cast<double>(fractions);
      const double edge = 1.0 - (t / half) * (t / half);
      row[k] = edge <= 0.0 ? 0.0 : 2.0 * cutoff * sinc(2.0 * cutoff * t) * bessel_i0(beta * std::sqrt(edge));
      sum += row[k];
    }
    for (double& weight : row) weight /= sum;
  }
}

}  // namespace ringtrue
