#include "ringtrue/response/decay.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <vector>

#include "ringtrue/dsp/band_filter.hpp"

namespace ringtrue {
namespace {

/// Slope of the least-squares line through the points of the curve between `top_db` and `bottom_db`, dB per sample.
std::optional<double> slope_between(std::span<const double> curve_db, double top_db, double bottom_db) {
  double n = 0.0, sx = 0.0, sy = 0.0, sxx = 0.0, sxy = 0.0;
  bool reached = false;
  for (std::size_t i = 0; i < curve_db.size(); ++i) {
    if (curve_db[i] < bottom_db) {
      reached = true;
      break;
    }
    if (curve_db[i] > top_db) continue;
    const double x = static_cast<double>(i);
    n += 1.0;
    sx += x;
    sy += curve_db[i];
    sxx += x * x;
    sxy += x * curve_db[i];
  }
  const double spread = n * sxx - sx * sx;
  if (!reached || n < 8.0 || spread <= 0.0) return {};
  return (n * sxy - sx * sy) / spread;
}

/// Mean of `squared` in blocks, to see where the decay meets the noise.
std::vector<double> block_means(std::span<const double> squared, std::size_t block) {
  std::vector<double> means;
  for (std::size_t i = 0; i + block <= squared.size(); i += block) {
    double sum = 0.0;
    for (const double e : squared.subspan(i, block)) sum += e;
    means.push_back(sum / static_cast<double>(block));
  }
  return means;
}

}  // namespace

std::optional<double> reverberation_time_s(std::span<const double> squared, double noise_power, Hertz sample_rate) {
  const auto block = static_cast<std::size_t>(std::max(1.0, 0.01 * sample_rate.value()));
  const std::vector<double> means = block_means(squared, block);
  if (means.size() < 4) return {};
  const auto peak = std::ranges::max_element(means) - means.begin();
  std::size_t crossing = means.size();
  for (auto i = static_cast<std::size_t>(peak); i < means.size(); ++i) {
    if (means[i] < 2.0 * noise_power) {  // signal equals noise
      crossing = i;
      break;
    }
  }
  const std::size_t end = crossing * block;
  if (end < 8) return {};

  // Late slope from the last 20 dB or so above the crossing gives the tail that was cut off.
  std::vector<double> curve(end);
  double sum = 0.0;
  for (std::size_t i = end; i-- > 0;) {
    sum += squared[i] - noise_power;
    curve[i] = std::max(sum, 0.0);
  }
  const double range_db = 10.0 * std::log10(means[static_cast<std::size_t>(peak)] / std::max(noise_power, 1e-30));
  const auto time_for = [&](double bottom_db) -> std::optional<double> {
    double tail = 0.0;
    std::optional<double> slope;
    for (int round = 0; round < 5; ++round) {  // the tail depends on the slope, the slope on the tail
      std::vector<double> db(end);
      for (std::size_t i = 0; i < end; ++i) {
        db[i] = 10.0 * std::log10(std::max(curve[i] + tail, 1e-300) / (curve[0] + tail));
      }
      slope = slope_between(db, -5.0, bottom_db);
      if (!slope || *slope >= 0.0) return {};
      const double rate = -*slope * std::numbers::ln10 / 10.0;  // of energy, per sample
      const std::size_t last = std::min<std::size_t>(3 * block, end);
      double at_end = 0.0;
      for (std::size_t i = end - last; i < end; ++i) at_end += squared[i] - noise_power;
      const double level =
          std::max(at_end, 0.0) / static_cast<double>(last) * std::exp(-rate * 0.5 * static_cast<double>(last));
      tail = level / rate;
    }
    return -60.0 / *slope / sample_rate.value();
  };
  if (range_db >= 45.0) {
    if (const auto t30 = time_for(-35.0)) return t30;
  }
  if (range_db >= 35.0) return time_for(-25.0);
  return {};
}

std::optional<double> mid_decay_time_s(const Takes& takes, double arrival_index, Band band) {
  const Band mid{Hertz{1'000.0 / std::numbers::sqrt2 / 2.0}, Hertz{1'000.0 * std::numbers::sqrt2}};
  if (band.low > mid.low || band.high < mid.high) return {};
  const RealFft fft{good_fft_size(2 * takes.mean.size())};
  const Band tapered{Hertz{mid.low.value() * std::exp2(-0.25)}, Hertz{mid.high.value() * std::exp2(0.25)}};
  const Hertz rate{takes.sample_rate_hz};
  auto h = tapered_band(fft, spectrum(fft, std::span<const double>{takes.mean}), tapered, 0.5, 0.5, rate);
  const auto noise = tapered_band(fft, spectrum(fft, std::span<const double>{takes.noise}), tapered, 0.5, 0.5, rate);
  double noise_power = 0.0;
  for (std::size_t n = 0; n < takes.noise.size(); ++n) noise_power += noise[n] * noise[n];
  noise_power /= static_cast<double>(takes.noise.size());

  h.resize(takes.mean.size());
  for (double& x : h) x *= x;
  const auto from = static_cast<std::size_t>(std::clamp(arrival_index, 0.0, static_cast<double>(h.size() - 1)));
  return reverberation_time_s(std::span<const double>{h}.subspan(from), noise_power, rate);
}

}  // namespace ringtrue
