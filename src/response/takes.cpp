#include "ringtrue/response/takes.hpp"

#include <algorithm>
#include <numbers>
#include <span>

namespace ringtrue {

namespace {

template <class Number>
Takes combined(std::span<const Number> first, std::span<const Number> second, double sample_rate_hz,
               std::size_t zero_index) {
  const std::span<const Number> longer = first.size() > second.size() ? first : second;
  const std::size_t common = std::min(first.size(), second.size());
  Takes takes{sample_rate_hz, zero_index, std::vector<double>(longer.size()), std::vector<double>(longer.size())};
  double* const mean = takes.mean.data();
  double* const noise = takes.noise.data();
  for (std::size_t n = 0; n < common; ++n) mean[n] = 0.5 * static_cast<double>(first[n] + second[n]);
  for (std::size_t n = 0; n < common; ++n) noise[n] = 0.5 * static_cast<double>(first[n] - second[n]);
  for (std::size_t n = common; n < longer.size(); ++n) {
    mean[n] = static_cast<double>(longer[n]);
    noise[n] = std::numbers::sqrt2 * noise[common - 1 - (n - common) % common];
  }
  return takes;
}

}  // namespace

Takes combine(std::span<const double> first, std::span<const double> second, double sample_rate_hz,
              std::size_t zero_index) {
  return combined(first, second, sample_rate_hz, zero_index);
}

Takes combine(std::span<const float> first, std::span<const float> second, double sample_rate_hz,
              std::size_t zero_index) {
  return combined(first, second, sample_rate_hz, zero_index);
}

TakeSpectra::TakeSpectra(const Takes& takes)
    : fft{good_fft_size(takes.mean.size() + 512)},
      mean{spectrum(fft, std::span<const double>{takes.mean})},
      noise{spectrum(fft, std::span<const double>{takes.noise})} {}

}  // namespace ringtrue
