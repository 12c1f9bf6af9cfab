#include "ringtrue/dsp/sound_level.hpp"

#include <algorithm>
#include <cmath>

#include "ringtrue/dsp/real_fft.hpp"

namespace ringtrue {
namespace {

constexpr double f1 = 20.598997057618316;
constexpr double f2 = 107.65264864304629;
constexpr double f3 = 737.8622307362901;
constexpr double f4 = 12194.217147998012;
constexpr double silence_db = -200.0;

double c_magnitude(double f) { return f4 * f4 * f * f / ((f * f + f1 * f1) * (f * f + f4 * f4)); }

double magnitude(FrequencyWeighting weighting, double f) {
  switch (weighting) {
    case FrequencyWeighting::a: return c_magnitude(f) * f * f / std::sqrt((f * f + f2 * f2) * (f * f + f3 * f3));
    case FrequencyWeighting::c: return c_magnitude(f);
    case FrequencyWeighting::z: return 1.0;
  }
  return 1.0;
}

double gain(FrequencyWeighting weighting, double f) { return magnitude(weighting, f) / magnitude(weighting, 1e3); }

double level_db(double mean_square) { return mean_square > 1e-20 ? 10.0 * std::log10(mean_square) : silence_db; }

}  // namespace

double weighting_db(FrequencyWeighting weighting, double frequency_hz) {
  return 20.0 * std::log10(gain(weighting, frequency_hz));
}

std::vector<double> weighted(std::span<const float> signal, FrequencyWeighting weighting, Hertz sample_rate) {
  const RealFft fft{good_fft_size(std::max<std::size_t>(signal.size(), 2))};
  std::vector<double> samples(fft.size());
  std::ranges::copy(signal, samples.begin());
  auto bins = spectrum(fft, samples);
  for (std::size_t k = 0; k < bins.size(); ++k) {
    bins[k] *= gain(weighting, static_cast<double>(k) * sample_rate.value() / static_cast<double>(fft.size()));
  }
  fft.inverse(bins, samples);
  samples.resize(signal.size());
  return samples;
}

std::vector<double> time_weighted_db(std::span<const double> weighted_signal, TimeWeighting weighting,
                                     Hertz sample_rate) {
  const double memory_s = weighting == TimeWeighting::fast ? 0.125 : 1.0;
  const double share = 1.0 - std::exp(-1.0 / (memory_s * sample_rate.value()));
  std::vector<double> levels;
  levels.reserve(weighted_signal.size());
  double mean_square = 0.0;
  for (const double sample : weighted_signal) {
    mean_square += share * (sample * sample - mean_square);
    levels.push_back(level_db(mean_square));
  }
  return levels;
}

double equivalent_level_db(std::span<const double> weighted_signal) {
  double sum = 0.0;
  for (const double sample : weighted_signal) sum += sample * sample;
  return weighted_signal.empty() ? silence_db : level_db(sum / static_cast<double>(weighted_signal.size()));
}

}  // namespace ringtrue
