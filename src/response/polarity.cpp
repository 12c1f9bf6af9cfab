#include "ringtrue/response/polarity.hpp"

#include <algorithm>
#include <cmath>
#include <span>

#include "ringtrue/dsp/band_filter.hpp"

namespace ringtrue {
namespace {

constexpr double alike_lobes = 0.84;  // -1.5 dB
constexpr double above_noise = 5.0;
// Where the woofer's first lobe is looked for, after the arrival. The lobe that follows it, of the other sign and
// nearly as high, peaks at 0.65 ms in real speakers: up to 0.35 ms the right sign led by 5.4 dB or more in 104 measured
// responses (docs/measured-rooms.md) and in 72 simulated crossovers; up to 0.6 ms by 0.2 dB.
constexpr double from_ms = -0.15;
constexpr double to_ms = 0.35;

Band woofer_band(Band band) {
  const double low = std::max(150.0, band.low.value());
  return {Hertz{low}, Hertz{std::clamp(1'200.0, 2.0 * low, std::max(band.high.value(), 2.0 * low))}};
}

}  // namespace

WooferSign woofer_sign(const Takes& takes, double arrival_index, Band band) {
  // The filter rings for some 20 ms: what lies further off than `around` does not matter.
  const auto around = static_cast<std::size_t>(0.08 * takes.sample_rate_hz);
  const RealFft fft{good_fft_size(2 * around)};
  const Hertz rate{takes.sample_rate_hz};
  const Band woofer = woofer_band(band);
  const auto arrival =
      static_cast<std::size_t>(std::clamp(arrival_index, 0.0, static_cast<double>(takes.mean.size() - 1)));
  const std::size_t first = arrival > around ? arrival - around : 0;
  const std::size_t size = std::min(2 * around, takes.mean.size() - first);
  const auto filtered = [&](std::span<const float> samples) {
    return tapered_band(fft, spectrum(fft, samples.subspan(first, size)), woofer, 1.0, 1.0, rate);
  };
  const auto h = filtered(takes.mean);
  const auto noise = filtered(takes.noise);

  const auto at = [&](double ms) {
    const double n = arrival_index - static_cast<double>(first) + ms * 1e-3 * takes.sample_rate_hz;
    return static_cast<std::size_t>(std::clamp(n, 0.0, static_cast<double>(size - 1)));
  };
  const auto [low, high] = std::ranges::minmax(std::span{h}.subspan(at(from_ms), at(to_ms) - at(from_ms) + 1));
  double energy = 0.0;
  for (std::size_t n = 0; n < size; ++n) energy += noise[n] * noise[n];
  const double noise_rms = std::sqrt(energy / static_cast<double>(size));

  const double up = std::max(high, 0.0);
  const double down = std::max(-low, 0.0);
  if (std::max(up, down) < above_noise * noise_rms) return WooferSign::unsure;
  if (std::min(up, down) > alike_lobes * std::max(up, down)) return WooferSign::unsure;
  return up > down ? WooferSign::positive : WooferSign::negative;
}

}  // namespace ringtrue
