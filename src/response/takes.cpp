#include "ringtrue/response/takes.hpp"

#include <algorithm>
#include <numbers>
#include <span>

namespace ringtrue {

Takes combine(const std::vector<double>& first, const std::vector<double>& second, double sample_rate_hz,
              std::size_t zero_index) {
  const std::vector<double>& longer = first.size() > second.size() ? first : second;
  const std::size_t common = std::min(first.size(), second.size());
  Takes takes{sample_rate_hz, zero_index, longer, std::vector<double>(longer.size())};
  for (std::size_t n = 0; n < common; ++n) {
    takes.mean[n] = 0.5 * (first[n] + second[n]);
    takes.noise[n] = 0.5 * (first[n] - second[n]);
  }
  for (std::size_t n = common; n < longer.size(); ++n) {
    takes.noise[n] = std::numbers::sqrt2 * takes.noise[common - 1 - (n - common) % common];
  }
  return takes;
}

TakeSpectra::TakeSpectra(const Takes& takes)
    : fft{good_fft_size(takes.mean.size() + 512)},
      mean{spectrum(fft, std::span<const double>{takes.mean})},
      noise{spectrum(fft, std::span<const double>{takes.noise})} {}

}  // namespace ringtrue
