#include "ringtrue/correction/fir_curve.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace ringtrue {
namespace {

constexpr double fir_points_per_octave = 24.0;
constexpr std::ptrdiff_t broad_reach = 8;  // points to each side: 2/3 octave
constexpr double fade_octaves = 0.5;

double half_cosine(double x) { return 0.5 - 0.5 * std::cos(std::numbers::pi * std::clamp(x, 0.0, 1.0)); }

/// Wanted gains, held at the ends of what is corrected and faded out beyond.
std::vector<double> faded(const WantedCorrection& wanted) {
  std::vector<double> gain = wanted.gain_db;
  const auto corrected = [](double weight) { return weight > 0.0; };
  const auto first = std::ranges::find_if(wanted.weight, corrected) - wanted.weight.begin();
  const auto last = std::ssize(gain) - 1 -
                    (std::find_if(wanted.weight.rbegin(), wanted.weight.rend(), corrected) - wanted.weight.rbegin());
  for (std::ptrdiff_t k = 0; k < std::ssize(gain); ++k) {
    const auto i = static_cast<std::size_t>(k);
    if (first > last) gain[i] = 0.0;
    if (first > last || (k >= first && k <= last)) continue;
    const std::ptrdiff_t edge = k < first ? first : last;
    const double octaves = static_cast<double>(std::abs(k - edge)) / fir_points_per_octave;
    gain[i] = gain[static_cast<std::size_t>(edge)] * half_cosine(1.0 - octaves / fade_octaves);
  }
  return gain;
}

std::vector<double> broadened(const std::vector<double>& gain) {
  std::vector<double> result;
  for (std::ptrdiff_t k = 0; k < std::ssize(gain); ++k) {
    double sum = 0.0;
    for (std::ptrdiff_t j = k - broad_reach; j <= k + broad_reach; ++j) {
      sum += gain[static_cast<std::size_t>(std::clamp<std::ptrdiff_t>(j, 0, std::ssize(gain) - 1))];
    }
    result.push_back(sum / (2.0 * broad_reach + 1.0));
  }
  return result;
}

}  // namespace

std::vector<GainCurve> fir_curves(std::span<const WantedCorrection> speakers, Hertz transition) {
  std::vector<std::vector<double>> own;
  for (const WantedCorrection& speaker : speakers) own.push_back(faded(speaker));
  std::vector<double> mean(speakers.empty() ? 0 : own.front().size());
  for (const auto& gain : own) {
    for (std::size_t k = 0; k < mean.size(); ++k) mean[k] += gain[k] / static_cast<double>(own.size());
  }
  const std::vector<double> shared = broadened(mean);
  std::vector<GainCurve> curves;
  for (std::size_t m = 0; m < speakers.size(); ++m) {
    curves.push_back({speakers[m].frequency_hz, own[m]});
    for (std::size_t k = 0; k < shared.size(); ++k) {
      const double octaves = std::log2(speakers[m].frequency_hz[k] / transition.value());
      const double share = half_cosine(octaves / fade_octaves + 1.0);  // all of it from the transition on
      curves[m].gain_db[k] = (1.0 - share) * own[m][k] + share * shared[k];
    }
  }
  return curves;
}

GainCurve bounded_curve(const GainCurve& curve, double most_db, std::size_t taps, Hertz sample_rate) {
  GainCurve result = curve;
  for (int tries = 0; tries < 12; ++tries) {
    const double largest = largest_gain_db(minimum_phase_fir(result, taps, sample_rate));
    if (largest <= most_db + 1e-6) return result;
    const double factor = tries < 10 ? std::clamp(0.98 * most_db / largest, 0.3, 0.98) : 0.0;
    for (double& gain : result.gain_db) gain *= factor;
  }
  return result;
}

}  // namespace ringtrue
