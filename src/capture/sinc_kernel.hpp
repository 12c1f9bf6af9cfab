#pragma once

#include <cstddef>
#include <span>
#include <vector>

namespace ringtrue {

/// Kaiser-windowed sinc, tabulated for fractions of a sample: the band-limited value between samples.
///
///     h(t) = 2 c sinc(2 c t) I0(beta sqrt(1 - (2t/taps)^2)) / I0(beta),  beta = 0.1102 (A - 8.7),  |t| < taps/2
///
/// Flat and free of delay error up to c - w, below -A dB from c + w on, w = (A - 8) / (4 pi 2.285 (taps - 1)).
/// Source: J. F. Kaiser, "Nonrecursive digital filter design using the I0-sinh window function", Proc. IEEE ISCAS
/// (1974) 20-23; the constants are its empirical fits.
class SincKernel {
 public:
  /// @param taps         even
  /// @param attenuation  A, dB, above 50
  /// @param cutoff       c, cycles per sample, at most 0.5
  /// @param fractions    steps a sample is divided into
  SincKernel(std::size_t taps, double attenuation_db, double cutoff, std::size_t fractions);

  [[nodiscard]] std::size_t taps() const { return taps_; }
  [[nodiscard]] std::size_t fractions() const { return fractions_; }

  /// Weights for a place `fraction / fractions()` of a sample (0 to 1, both included) after sample n: weight k belongs
  /// to sample n + k - (taps / 2 - 1). They sum to 1.
  [[nodiscard]] std::span<const double> weights(std::size_t fraction) const {
    return {table_.data() + fraction * taps_, taps_};
  }

 private:
  std::size_t taps_;
  std::size_t fractions_;
  std::vector<double> table_;
};

}  // namespace ringtrue
