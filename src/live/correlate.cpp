#include "correlate.hpp"

#include <algorithm>
#include <cmath>

#include "ringtrue/dsp/real_fft.hpp"

namespace ringtrue {

std::vector<double> correlate(std::span<const float> channel, std::span<const double> played, std::size_t longest) {
  const RealFft fft{good_fft_size(std::max(channel.size(), played.size()) + longest + 1)};
  std::vector<double> samples(channel.begin(), channel.end());
  samples.resize(fft.size());
  auto bins = spectrum(fft, samples);
  const auto other = spectrum(fft, played);
  for (std::size_t k = 0; k < bins.size(); ++k) bins[k] *= std::conj(other[k]);
  fft.inverse(bins, samples);
  samples.resize(longest + 1);
  return samples;
}

}  // namespace ringtrue
