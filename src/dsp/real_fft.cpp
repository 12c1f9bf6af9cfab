#include "ringtrue/dsp/real_fft.hpp"

#include <fftw3.h>

#include <algorithm>
#include <bit>
#include <cassert>
#include <list>
#include <mutex>
#include <type_traits>

#include "ringtrue/dsp/scratch.hpp"

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

/// Arrays to plan with; ESTIMATE looks at their alignment only.
struct FreeFftw {
  void operator()(void* array) const noexcept { fftw_free(array); }
};

Plan plan_forward(std::size_t n) {
  const std::unique_ptr<double, FreeFftw> time{fftw_alloc_real(n)};
  const std::unique_ptr<fftw_complex, FreeFftw> bins{fftw_alloc_complex(n / 2 + 1)};
  const std::scoped_lock lock{planner_mutex()};
  return Plan{fftw_plan_dft_r2c_1d(static_cast<int>(n), time.get(), bins.get(), FFTW_ESTIMATE | FFTW_PRESERVE_INPUT)};
}

Plan plan_inverse(std::size_t n) {
  const std::unique_ptr<double, FreeFftw> time{fftw_alloc_real(n)};
  const std::unique_ptr<fftw_complex, FreeFftw> bins{fftw_alloc_complex(n / 2 + 1)};
  const std::scoped_lock lock{planner_mutex()};
  return Plan{fftw_plan_dft_c2r_1d(static_cast<int>(n), bins.get(), time.get(), FFTW_ESTIMATE)};
}

}  // namespace

/// Both directions, each planned when it is first wanted.
struct RealFft::Plans {
  explicit Plans(std::size_t size) : n{size} {}

  fftw_plan forward() {
    std::call_once(forward_once, [this] { forward_plan = plan_forward(n); });
    return forward_plan.get();
  }
  fftw_plan inverse() {
    std::call_once(inverse_once, [this] { inverse_plan = plan_inverse(n); });
    return inverse_plan.get();
  }

  std::size_t n;
  std::once_flag forward_once, inverse_once;
  Plan forward_plan, inverse_plan;
};

/// The plans of the sizes used last. The same few sizes come back for every speaker and measure, and making a plan
/// takes about as long as two transforms, most of it for FFTW's tables of sines. A plan does not depend on who made it
/// first, so neither does any result.
class RealFft::Shelf {
 public:
  [[nodiscard]] static std::shared_ptr<Plans> plans(std::size_t n) {
    if (n > most_samples) return std::make_shared<Plans>(n);
    static Shelf shelf;
    const std::scoped_lock lock{shelf.mutex_};
    return shelf.take(n);
  }

 private:
  static constexpr std::size_t most_samples = std::size_t{1} << 21;  // of all sizes kept: at most some 60 MB of tables

  Shelf() { static_cast<void>(planner_mutex()); }  // which must outlive the plans

  std::shared_ptr<Plans> take(std::size_t n) {
    const auto found = std::ranges::find(recent_, n, &Plans::n);
    if (found != recent_.end()) {
      recent_.splice(recent_.begin(), recent_, found);
      return recent_.front();
    }
    recent_.push_front(std::make_shared<Plans>(n));
    samples_ += n;
    while (samples_ > most_samples) {
      samples_ -= recent_.back()->n;
      recent_.pop_back();
    }
    return recent_.front();
  }

  std::mutex mutex_;
  std::list<std::shared_ptr<Plans>> recent_;
  std::size_t samples_ = 0;
};

std::size_t good_fft_size(std::size_t at_least) {
  constexpr std::size_t small = 32'768;
  constexpr std::size_t twos = 512;  // in every larger size: FFTW's vector code wants them
  const std::size_t power = std::bit_ceil(std::max<std::size_t>(2, at_least));
  if (power <= small) return power >= 8 && power / 4 * 3 >= at_least ? power / 4 * 3 : power;
  std::size_t best = power;
  for (std::size_t fives = twos; fives < best; fives *= 5) {
    for (std::size_t threes = fives; threes < best; threes *= 3) {
      std::size_t n = threes;
      while (n < at_least) n *= 2;
      best = std::min(best, n);
    }
  }
  return best;
}

RealFft::RealFft(std::size_t n) : n_{n}, plans_{Shelf::plans(n)} { assert(n >= 2 && n % 2 == 0); }

RealFft::~RealFft() = default;
RealFft::RealFft(RealFft&&) noexcept = default;
RealFft& RealFft::operator=(RealFft&&) noexcept = default;

void RealFft::forward(std::span<const double> time, std::span<std::complex<double>> bins) const {
  assert(time.size() == n_ && bins.size() == bin_count());
  if (!aligned(time.data())) {
    const std::vector<double> copy(time.begin(), time.end());
    return forward(copy, bins);
  }
  fftw_execute_dft_r2c(plans_->forward(), const_cast<double*>(time.data()), as_fftw(bins.data()));
}

void RealFft::inverse_unscaled(std::span<std::complex<double>> bins, std::span<double> time) const {
  assert(time.size() == n_ && bins.size() == bin_count());
  if (!aligned(time.data())) {
    std::vector<double> copy(n_);
    inverse_unscaled(bins, copy);
    std::ranges::copy(copy, time.begin());
    return;
  }
  fftw_execute_dft_c2r(plans_->inverse(), as_fftw(bins.data()), time.data());
}

void RealFft::inverse(std::span<std::complex<double>> bins, std::span<double> time) const {
  inverse_unscaled(bins, time);
  const double scale = 1.0 / static_cast<double>(n_);
  for (double& sample : time) sample *= scale;
}

template <class Sample>
static Spectrum padded_spectrum(const RealFft& fft, std::span<const Sample> samples) {
  assert(samples.size() <= fft.size());
  Spectrum bins(fft.bin_count());
  if constexpr (std::is_same_v<Sample, double>) {
    if (samples.size() == fft.size()) {  // nothing to pad
      fft.forward(samples, bins);
      return bins;
    }
  }
  Scratch<double> padded(fft.size());
  const auto end = std::ranges::copy(samples, padded.begin()).out;
  std::fill(end, padded.end(), 0.0);
  fft.forward(padded, bins);
  return bins;
}

Spectrum spectrum(const RealFft& fft, std::span<const double> samples) { return padded_spectrum(fft, samples); }

Spectrum spectrum(const RealFft& fft, std::span<const float> samples) { return padded_spectrum(fft, samples); }

}  // namespace ringtrue
