#include "ringtrue/response/takes.hpp"

#include <span>

namespace ringtrue {

Takes combine(const std::vector<double>& first, const std::vector<double>& second, double sample_rate_hz,
              std::size_t zero_index) {
  Takes takes{sample_rate_hz, zero_index, std::vector<double>(first.size()), std::vector<double>(first.size())};
  for (std::size_t n = 0; n < first.size(); ++n) {
    takes.mean[n] = 0.5 * (first[n] + second[n]);
    takes.noise[n] = 0.5 * (first[n] - second[n]);
  }
  return takes;
}

TakeSpectra::TakeSpectra(const Takes& takes)
    : fft{good_fft_size(takes.mean.size() + 512)},
      mean{spectrum(fft, std::span<const double>{takes.mean})},
      noise{spectrum(fft, std::span<const double>{takes.noise})} {}

}  // namespace ringtrue
