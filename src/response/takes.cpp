#include "ringtrue/response/takes.hpp"

#include <algorithm>
#include <numbers>
#include <span>

namespace ringtrue {

Takes combine(std::span<const float> first, std::span<const float> second, double sample_rate_hz,
              std::size_t zero_index) {
  const std::span<const float> longer = first.size() > second.size() ? first : second;
  const std::size_t common = std::min(first.size(), second.size());
  Takes takes{sample_rate_hz, zero_index, std::vector<float>(longer.size()), std::vector<float>(longer.size())};
  float* const mean = takes.mean.data();
  float* const noise = takes.noise.data();
  for (std::size_t n = 0; n < common; ++n) mean[n] = 0.5F * (first[n] + second[n]);
  for (std::size_t n = 0; n < common; ++n) noise[n] = 0.5F * (first[n] - second[n]);
  for (std::size_t n = common; n < longer.size(); ++n) {
    mean[n] = longer[n];
    noise[n] = std::numbers::sqrt2_v<float> * noise[common - 1 - (n - common) % common];
  }
  return takes;
}

TakeSpectra::TakeSpectra(const Takes& takes)
    : fft{good_fft_size(takes.mean.size() + 512)},
      mean{spectrum(fft, std::span<const float>{takes.mean})},
      noise{spectrum(fft, std::span<const float>{takes.noise})} {}

}  // namespace ringtrue
