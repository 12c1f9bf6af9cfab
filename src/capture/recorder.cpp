#include "recorder.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>

#include "ringtrue/core/parallel.hpp"
#include "sinc_kernel.hpp"

namespace ringtrue {
namespace {

constexpr double attenuation_db = 110.0;
constexpr std::size_t fractions = 1'024;  // linear interpolation between them errs by less than -115 dB
constexpr std::size_t lanes = 8;
constexpr std::size_t block_frames = 65'536;

std::size_t taps_for(double step) {
  if (step < 1.001) return 64;
  return lanes * static_cast<std::size_t>(std::ceil(96.0 / lanes * step));
}

double weighted_sum(const double* x, const double* a, const double* b, double share, std::size_t taps) {
  std::array<double, lanes> sums{};
  for (std::size_t k = 0; k < taps; k += lanes) {
    for (std::size_t j = 0; j < lanes; ++j) sums[j] += x[k + j] * (a[k + j] + share * (b[k + j] - a[k + j]));
  }
  double sum = 0.0;
  for (const double part : sums) sum += part;
  return sum;
}

class Interpolator {
 public:
  Interpolator(std::span<const double> signal, double step)
      : signal_{signal}, kernel_{taps_for(step), attenuation_db, 0.5 / std::max(1.0, step), fractions} {}

  [[nodiscard]] double at(double place) const {
    const double whole = std::floor(place);
    const double fine = (place - whole) * static_cast<double>(fractions);
    const auto fraction = std::min(static_cast<std::size_t>(fine), fractions - 1);
    const double share = fine - static_cast<double>(fraction);
    const auto taps = static_cast<std::ptrdiff_t>(kernel_.taps());
    const std::ptrdiff_t begin = static_cast<std::ptrdiff_t>(whole) - (taps / 2 - 1);
    const double* const a = kernel_.weights(fraction).data();
    const double* const b = kernel_.weights(fraction + 1).data();
    if (begin >= 0 && begin + taps <= std::ssize(signal_)) {
      return weighted_sum(signal_.data() + begin, a, b, share, kernel_.taps());
    }
    double sum = 0.0;
    for (std::ptrdiff_t k = 0; k < taps; ++k) {
      if (begin + k < 0 || begin + k >= std::ssize(signal_)) continue;
      sum += signal_[static_cast<std::size_t>(begin + k)] * (a[k] + share * (b[k] - a[k]));
    }
    return sum;
  }

 private:
  std::span<const double> signal_;
  SincKernel kernel_;
};

std::vector<double> copy_from(std::span<const double> signal, std::int64_t first, std::size_t count) {
  std::vector<double> result(count);
  for (std::size_t n = 0; n < count; ++n) {
    const std::int64_t place = first + static_cast<std::int64_t>(n);
    if (place >= 0 && place < std::ssize(signal)) result[n] = signal[static_cast<std::size_t>(place)];
  }
  return result;
}

}  // namespace

std::vector<double> sample_at(std::span<const double> signal, double first, double step, std::size_t count,
                              unsigned threads) {
  if (step == 1.0 && first == std::floor(first)) return copy_from(signal, static_cast<std::int64_t>(first), count);
  const Interpolator interpolator{signal, step};
  std::vector<double> result(count);
  parallel_for((count + block_frames - 1) / block_frames, threads, [&](std::size_t block) {
    const std::size_t end = std::min(count, (block + 1) * block_frames);
    for (std::size_t n = block * block_frames; n < end; ++n) {
      result[n] = interpolator.at(first + static_cast<double>(n) * step);
    }
  });
  return result;
}

}  // namespace ringtrue
