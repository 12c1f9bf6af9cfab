#pragma once

#include <complex>
#include <cstddef>
#include <memory>
#include <span>
#include <vector>

#include "ringtrue/dsp/scratch.hpp"

namespace ringtrue {

/// A fast size for RealFft, at least `at_least` and 2: the smallest 512 2^a 3^b 5^c, and up to 32768 the smallest 2^a
/// or 3 2^a. Making a plan takes as long as hundreds of small transforms, so few sizes serve all.
[[nodiscard]] std::size_t good_fft_size(std::size_t at_least);

/// Discrete Fourier transform of n real samples by FFTW, in double or in single precision.
///
///     X[k] = sum x[m] exp(-2 pi i k m / n),  k = 0 .. n/2  (n/2 + 1 bins, one-sided)
///
/// `inverse` scales by 1/n, so that inverse(forward(x)) is x. Planned with ESTIMATE: same bytes in every run.
/// Callable from any number of threads at once. Cheap to make again: the plans of the sizes used last are kept.
template <class Number>
class BasicRealFft {
 public:
  /// @param n  even, at least 2
  explicit BasicRealFft(std::size_t n);
  ~BasicRealFft();
  BasicRealFft(BasicRealFft&&) noexcept;
  BasicRealFft& operator=(BasicRealFft&&) noexcept;

  [[nodiscard]] std::size_t size() const { return n_; }
  [[nodiscard]] std::size_t bin_count() const { return n_ / 2 + 1; }

  /// @param time  n samples  @param bins  n/2 + 1, written
  void forward(std::span<const Number> time, std::span<std::complex<Number>> bins) const;

  /// @param bins  n/2 + 1, DESTROYED  @param time  n samples, written
  void inverse(std::span<std::complex<Number>> bins, std::span<Number> time) const;

  /// n times that: for bins that were divided by n on the way.
  void inverse_unscaled(std::span<std::complex<Number>> bins, std::span<Number> time) const;

 private:
  struct Plans;
  class Shelf;
  std::size_t n_;
  std::shared_ptr<Plans> plans_;
};

using RealFft = BasicRealFft<double>;

/// For whole sweeps: half the memory to walk through. What rounding adds to a response lies 138 dB below it, under the
/// steps of a recording of 24 bits (docs/measuring.md).
using SingleFft = BasicRealFft<float>;

extern template class BasicRealFft<double>;
extern template class BasicRealFft<float>;

/// One-sided: bin_count() bins.
using Spectrum = Scratch<std::complex<double>>;
using SingleSpectrum = Scratch<std::complex<float>>;

/// Spectrum of `samples` zero-padded to the transform's size. @param samples  at most fft.size()
[[nodiscard]] Spectrum spectrum(const RealFft& fft, std::span<const double> samples);
[[nodiscard]] Spectrum spectrum(const RealFft& fft, std::span<const float> samples);
[[nodiscard]] SingleSpectrum spectrum(const SingleFft& fft, std::span<const float> samples);

}  // namespace ringtrue
