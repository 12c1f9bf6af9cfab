#include "ringtrue/response/background_noise.hpp"

#include <algorithm>
#include <cmath>
#include <functional>
#include <numbers>

#include "ringtrue/dsp/real_fft.hpp"

namespace ringtrue {
namespace {

constexpr double segment_s = 0.17;
constexpr int least_segments = 3;
constexpr std::size_t octaves = 9;
constexpr std::array<double, octaves> nominal_hz{31.5, 63, 125, 250, 500, 1'000, 2'000, 4'000, 8'000};
constexpr std::array<double, octaves> curve_a{55.4, 35.5, 22.0, 12.0, 4.8, 0.0, -3.5, -6.1, -8.0};
constexpr std::array<double, octaves> curve_b{0.681, 0.790, 0.870, 0.930, 0.974, 1.000, 1.015, 1.025, 1.030};

double centre_hz(std::size_t octave) { return 1'000.0 * std::pow(10.0, 0.3 * (static_cast<double>(octave) - 5.0)); }

/// Mean square of x in [low, high): bins cut at the edges. Hann windows lose 3/8 of the power.
double band_power(std::span<const double> power, double low_hz, double high_hz, double bin_hz) {
  double sum = 0.0;
  for (std::size_t k = 1; k < power.size(); ++k) {
    const double low = std::max((static_cast<double>(k) - 0.5) * bin_hz, low_hz);
    const double high = std::min((static_cast<double>(k) + 0.5) * bin_hz, high_hz);
    if (high > low) sum += power[k] * (high - low) / bin_hz;
  }
  return sum;
}

}  // namespace

std::vector<NoiseReading> background_noise(std::span<const std::span<const float>> quiet, Hertz sample_rate) {
  const RealFft fft{good_fft_size(static_cast<std::size_t>(segment_s * sample_rate.value()))};
  const std::size_t n = fft.size();
  std::vector<double> window(n);
  for (std::size_t i = 0; i < n; ++i) {
    window[i] = 0.5 - 0.5 * std::cos(2.0 * std::numbers::pi * static_cast<double>(i) / static_cast<double>(n));
  }
  std::vector<double> power(fft.bin_count());
  std::vector<double> x(n);
  int segments = 0;
  for (const std::span<const float> stretch : quiet) {
    for (std::size_t from = 0; from + n <= stretch.size(); from += n / 2) {
      const auto part = stretch.subspan(from, n);
      if (std::ranges::adjacent_find(part, std::ranges::not_equal_to{}) == part.end()) continue;
      for (std::size_t i = 0; i < n; ++i) x[i] = window[i] * static_cast<double>(part[i]);
      const auto bins = spectrum(fft, std::span<const double>{x});
      for (std::size_t k = 0; k < bins.size(); ++k) power[k] += std::norm(bins[k]);
      ++segments;
    }
  }
  if (segments < least_segments) return {};
  const auto size = static_cast<double>(n);
  for (double& p : power) p *= 2.0 / (size * size * 0.375 * segments);

  std::vector<NoiseReading> readings;
  const double bin_hz = sample_rate.value() / size;
  for (std::size_t octave = 0; octave < octaves; ++octave) {
    const double centre = centre_hz(octave);
    const double edge = std::pow(10.0, 0.15);
    if (centre * edge > 0.5 * sample_rate.value()) break;
    const double mean_square = band_power(power, centre / edge, centre * edge, bin_hz);
    readings.push_back({centre, 10.0 * std::log10(std::max(mean_square, 1e-30))});
  }
  return readings;
}

std::optional<NoiseRating> noise_rating(std::span<const NoiseReading> readings, double full_scale_db_spl) {
  std::optional<NoiseRating> worst;
  for (const NoiseReading& reading : readings) {
    const auto octave = static_cast<std::size_t>(
        std::clamp(std::lround(std::log10(reading.centre_hz / 1'000.0) / 0.3) + 5L, 0L, long{octaves} - 1L));
    const double rating = (reading.level_dbfs + full_scale_db_spl - curve_a[octave]) / curve_b[octave];
    if (!worst || rating > worst->rating) worst = NoiseRating{rating, nominal_hz[octave]};
  }
  return worst;
}

double noise_rating_curve_db(double rating, std::size_t octave) { return curve_a[octave] + curve_b[octave] * rating; }

}  // namespace ringtrue
