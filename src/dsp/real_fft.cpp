#include "ringtrue/dsp/real_fft.hpp"

#include <fftw3.h>

#include <algorithm>
#include <cassert>
#include <mutex>

namespace ringtrue {
namespace {

std::mutex& planner_mutex() {  // only fftw_execute* is thread-safe; planning and destroying share global tables
  static std::mutex mutex;
  return mutex;
}

struct DestroyPlan {
  void operator()(fftw_plan plan) const noexcept {
    const std::scoped_lock lock{planner_mutex()};
    fftw_destroy_plan(plan);
  }
};
using Plan = std::unique_ptr<std::remove_pointer_t<fftw_plan>, DestroyPlan>;

fftw_complex* as_fftw(std::complex<double>* bins) { return reinterpret_cast<fftw_complex*>(bins); }

bool aligned(const double* samples) { return fftw_alignment_of(const_cast<double*>(samples)) == 0; }

}  // namespace

struct RealFft::Plans {
  Plan forward;
  Plan inverse;
};

std::size_t good_fft_size(std::size_t at_least) {
  std::size_t best = 2;
  while (best < at_least) best *= 2;
  for (std::size_t fives = 1; fives < best; fives *= 5) {
    for (std::size_t threes = fives; threes < best; threes *= 3) {
      std::size_t n = 2 * threes;
      while (n < at_least) n *= 2;
      best = std::min(best, n);
    }
  }
  return best;
}

RealFft::RealFft(std::size_t n) : n_{n}, plans_{std::make_unique<Plans>()} {
  assert(n >= 2 && n % 2 == 0);
  std::vector<double> time(n);
  std::vector<std::complex<double>> bins(n / 2 + 1);
  const std::scoped_lock lock{planner_mutex()};
  const int size = static_cast<int>(n);
  plans_->forward.reset(
      fftw_plan_dft_r2c_1d(size, time.data(), as_fftw(bins.data()), FFTW_ESTIMATE | FFTW_PRESERVE_INPUT));
  plans_->inverse.reset(fftw_plan_dft_c2r_1d(size, as_fftw(bins.data()), time.data(), FFTW_ESTIMATE));
}

RealFft::~RealFft() = default;
RealFft::RealFft(RealFft&&) noexcept = default;
RealFft& RealFft::operator=(RealFft&&) noexcept = default;

void RealFft::forward(std::span<const double> time, std::span<std::complex<double>> bins) const {
  assert(time.size() == n_ && bins.size() == bin_count());
  if (!aligned(time.data())) {
    const std::vector<double> copy(time.begin(), time.end());
    return forward(copy, bins);
  }
  fftw_execute_dft_r2c(plans_->forward.get(), const_cast<double*>(time.data()), as_fftw(bins.data()));
}

void RealFft::inverse(std::span<std::complex<double>> bins, std::span<double> time) const {
  assert(time.size() == n_ && bins.size() == bin_count());
  if (!aligned(time.data())) {
    std::vector<double> copy(n_);
    inverse(bins, copy);
    std::ranges::copy(copy, time.begin());
    return;
  }
  fftw_execute_dft_c2r(plans_->inverse.get(), as_fftw(bins.data()), time.data());
  const double scale = 1.0 / static_cast<double>(n_);
  for (double& sample : time) sample *= scale;
}

template <class Sample>
static std::vector<std::complex<double>> padded_spectrum(const RealFft& fft, std::span<const Sample> samples) {
  assert(samples.size() <= fft.size());
  std::vector<double> padded(fft.size());
  std::ranges::copy(samples, padded.begin());
  std::vector<std::complex<double>> bins(fft.bin_count());
  fft.forward(padded, bins);
  return bins;
}

std::vector<std::complex<double>> spectrum(const RealFft& fft, std::span<const double> samples) {
  return padded_spectrum(fft, samples);
}

std::vector<std::complex<double>> spectrum(const RealFft& fft, std::span<const float> samples) {
  return padded_spectrum(fft, samples);
}

}  // namespace ringtrue
