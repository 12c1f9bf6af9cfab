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

/// FFTW's names for one precision.
template <class Number>
struct Fftw;

template <>
struct Fftw<double> {
  using Plan = fftw_plan;
  using Complex = fftw_complex;
  static constexpr auto plan_forward = fftw_plan_dft_r2c_1d;
  static constexpr auto plan_inverse = fftw_plan_dft_c2r_1d;
  static constexpr auto forward = fftw_execute_dft_r2c;
  static constexpr auto inverse = fftw_execute_dft_c2r;
  static constexpr auto destroy = fftw_destroy_plan;
  static constexpr auto alignment_of = fftw_alignment_of;
  static constexpr auto allocate_real = fftw_alloc_real;
  static constexpr auto allocate_complex = fftw_alloc_complex;
  static constexpr auto free = fftw_free;
};

template <>
struct Fftw<float> {
  using Plan = fftwf_plan;
  using Complex = fftwf_complex;
  static constexpr auto plan_forward = fftwf_plan_dft_r2c_1d;
  static constexpr auto plan_inverse = fftwf_plan_dft_c2r_1d;
  static constexpr auto forward = fftwf_execute_dft_r2c;
  static constexpr auto inverse = fftwf_execute_dft_c2r;
  static constexpr auto destroy = fftwf_destroy_plan;
  static constexpr auto alignment_of = fftwf_alignment_of;
  static constexpr auto allocate_real = fftwf_alloc_real;
  static constexpr auto allocate_complex = fftwf_alloc_complex;
  static constexpr auto free = fftwf_free;
};

template <class Number>
std::mutex& planner_mutex() {  // only fftw_execute* is thread-safe; planning and destroying share global tables
  static std::mutex mutex;
  return mutex;
}

template <class Number>
struct DestroyPlan {
  void operator()(typename Fftw<Number>::Plan plan) const noexcept {
    const std::scoped_lock lock{planner_mutex<Number>()};
    Fftw<Number>::destroy(plan);
  }
};
template <class Number>
using Plan = std::unique_ptr<std::remove_pointer_t<typename Fftw<Number>::Plan>, DestroyPlan<Number>>;

template <class Number>
typename Fftw<Number>::Complex* as_fftw(std::complex<Number>* bins) {
  return reinterpret_cast<typename Fftw<Number>::Complex*>(bins);
}

template <class Number>
bool aligned(const Number* samples) {
  return Fftw<Number>::alignment_of(const_cast<Number*>(samples)) == 0;
}

/// Arrays to plan with; ESTIMATE looks at their alignment only.
template <class Number>
struct PlanningArrays {
  struct Free {
    void operator()(void* array) const noexcept { Fftw<Number>::free(array); }
  };
  std::unique_ptr<Number, Free> time;
  std::unique_ptr<typename Fftw<Number>::Complex, Free> bins;

  explicit PlanningArrays(std::size_t n)
      : time{Fftw<Number>::allocate_real(n)}, bins{Fftw<Number>::allocate_complex(n / 2 + 1)} {}
};

template <class Number>
Plan<Number> plan_forward(std::size_t n) {
  const PlanningArrays<Number> arrays{n};
  const std::scoped_lock lock{planner_mutex<Number>()};
  return Plan<Number>{Fftw<Number>::plan_forward(static_cast<int>(n), arrays.time.get(), arrays.bins.get(),
                                                 FFTW_ESTIMATE | FFTW_PRESERVE_INPUT)};
}

template <class Number>
Plan<Number> plan_inverse(std::size_t n) {
  const PlanningArrays<Number> arrays{n};
  const std::scoped_lock lock{planner_mutex<Number>()};
  return Plan<Number>{
      Fftw<Number>::plan_inverse(static_cast<int>(n), arrays.bins.get(), arrays.time.get(), FFTW_ESTIMATE)};
}

}  // namespace

/// Both directions, each planned when it is first wanted.
template <class Number>
struct BasicRealFft<Number>::Plans {
  explicit Plans(std::size_t size) : n{size} {}

  typename Fftw<Number>::Plan forward() {
    std::call_once(forward_once, [this] { forward_plan = plan_forward<Number>(n); });
    return forward_plan.get();
  }
  typename Fftw<Number>::Plan inverse() {
    std::call_once(inverse_once, [this] { inverse_plan = plan_inverse<Number>(n); });
    return inverse_plan.get();
  }

  std::size_t n;
  std::once_flag forward_once, inverse_once;
  Plan<Number> forward_plan, inverse_plan;
};

/// The plans of the sizes used last. The same few sizes come back for every speaker and measure, and making a plan
/// takes about as long as two transforms, most of it for FFTW's tables of sines. A plan does not depend on who made it
/// first, so neither does any result.
template <class Number>
class BasicRealFft<Number>::Shelf {
 public:
  [[nodiscard]] static std::shared_ptr<Plans> plans(std::size_t n) {
    if (n > most_samples) return std::make_shared<Plans>(n);
    static Shelf shelf;
    const std::scoped_lock lock{shelf.mutex_};
    return shelf.take(n);
  }

 private:
  static constexpr std::size_t most_samples = std::size_t{1} << 21;  // of all sizes kept: at most some 60 MB of tables

  Shelf() { static_cast<void>(planner_mutex<Number>()); }  // which must outlive the plans

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

template <class Number>
BasicRealFft<Number>::BasicRealFft(std::size_t n) : n_{n}, plans_{Shelf::plans(n)} {
  assert(n >= 2 && n % 2 == 0);
}

template <class Number>
BasicRealFft<Number>::~BasicRealFft() = default;
template <class Number>
BasicRealFft<Number>::BasicRealFft(BasicRealFft&&) noexcept = default;
template <class Number>
BasicRealFft<Number>& BasicRealFft<Number>::operator=(BasicRealFft&&) noexcept = default;

template <class Number>
void BasicRealFft<Number>::forward(std::span<const Number> time, std::span<std::complex<Number>> bins) const {
  assert(time.size() == n_ && bins.size() == bin_count());
  if (!aligned(time.data())) {
    const std::vector<Number> copy(time.begin(), time.end());
    return forward(copy, bins);
  }
  Fftw<Number>::forward(plans_->forward(), const_cast<Number*>(time.data()), as_fftw(bins.data()));
}

template <class Number>
void BasicRealFft<Number>::inverse_unscaled(std::span<std::complex<Number>> bins, std::span<Number> time) const {
  assert(time.size() == n_ && bins.size() == bin_count());
  if (!aligned(time.data())) {
    std::vector<Number> copy(n_);
    inverse_unscaled(bins, copy);
    std::ranges::copy(copy, time.begin());
    return;
  }
  Fftw<Number>::inverse(plans_->inverse(), as_fftw(bins.data()), time.data());
}

template <class Number>
void BasicRealFft<Number>::inverse(std::span<std::complex<Number>> bins, std::span<Number> time) const {
  inverse_unscaled(bins, time);
  const Number scale = Number{1} / static_cast<Number>(n_);
  for (Number& sample : time) sample *= scale;
}

template class BasicRealFft<double>;
template class BasicRealFft<float>;

template <class Number, class Sample>
static Scratch<std::complex<Number>> padded_spectrum(const BasicRealFft<Number>& fft, std::span<const Sample> samples) {
  assert(samples.size() <= fft.size());
  Scratch<std::complex<Number>> bins(fft.bin_count());
  if constexpr (std::is_same_v<Sample, Number>) {
    if (samples.size() == fft.size()) {  // nothing to pad
      fft.forward(samples, bins);
      return bins;
    }
  }
  Scratch<Number> padded(fft.size());
  for (std::size_t n = 0; n < samples.size(); ++n) padded[n] = static_cast<Number>(samples[n]);
  std::fill(padded.begin() + std::ssize(samples), padded.end(), Number{0});
  fft.forward(padded, bins);
  return bins;
}

Spectrum spectrum(const RealFft& fft, std::span<const double> samples) { return padded_spectrum(fft, samples); }

Spectrum spectrum(const RealFft& fft, std::span<const float> samples) { return padded_spectrum(fft, samples); }

SingleSpectrum spectrum(const SingleFft& fft, std::span<const float> samples) { return padded_spectrum(fft, samples); }

}  // namespace ringtrue
