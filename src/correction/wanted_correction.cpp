#include "ringtrue/correction/wanted_correction.hpp"

#include <algorithm>
#include <cmath>

namespace ringtrue {
namespace {

constexpr double points_per_octave = 24.0;
constexpr double narrow_octaves = 0.25;   // a dip this narrow is left
constexpr double peak_spread_db = 10.0;   // of the positions: half of a peak is corrected
constexpr double dip_spread_db = 6.0;     // and half of a dip
constexpr double closed_weight = 0.5;     // of a frequency in a dip that is left
constexpr double deep_bass_weight = 0.6;  // below 70 Hz, of a main
constexpr double treble_weight = 0.05;    // at 8 kHz; straight over log frequency from 1 at 2.5 kHz
constexpr double end_db = 3.0;            // the target this far below its middle: the speaker's own end

std::vector<double> running_extreme(std::span<const double> curve, std::size_t width, bool largest) {
  const auto reach = static_cast<std::ptrdiff_t>(width / 2);
  std::vector<double> result;
  for (std::ptrdiff_t k = 0; k < std::ssize(curve); ++k) {
    const auto begin = curve.begin() + std::max<std::ptrdiff_t>(0, k - reach);
    const auto end = curve.begin() + std::min<std::ptrdiff_t>(std::ssize(curve), k + reach + 1);
    result.push_back(largest ? *std::max_element(begin, end) : *std::min_element(begin, end));
  }
  return result;
}

double importance_of(double frequency_hz) {
  if (frequency_hz < 70.0) return deep_bass_weight;
  if (frequency_hz <= 2'500.0) return 1.0;
  const double share = std::log(frequency_hz / 2'500.0) / std::log(8'000.0 / 2'500.0);
  return std::pow(treble_weight, std::min(share, 1.5));
}

double mean_level_db(std::span<const double> error_db, std::span<const double> target_db,
                     std::span<const double> weight) {
  const double middle = *std::ranges::max_element(target_db);
  double sum = 0.0, weights = 0.0, all = 0.0, all_weights = 0.0;
  for (std::size_t k = 0; k < error_db.size(); ++k) {
    all += weight[k] * error_db[k];
    all_weights += weight[k];
    if (target_db[k] < middle - 2.0 * end_db) continue;
    sum += weight[k] * error_db[k];
    weights += weight[k];
  }
  if (weights > 0.0) return sum / weights;
  return all_weights > 0.0 ? all / all_weights : 0.0;
}

}  // namespace

std::vector<double> close_dips(std::span<const double> curve, std::size_t width) {
  return running_extreme(running_extreme(curve, width, true), width, false);
}

WantedCorrection wanted_correction(const ResponseToCorrect& response, std::span<const double> target_db,
                                   const Restraint& restraint) {
  WantedCorrection wanted;
  wanted.frequency_hz = response.frequency_hz;
  const std::size_t count = wanted.frequency_hz.size();
  std::vector<double> error_db(count);
  for (std::size_t k = 0; k < count; ++k) {
    const double f = wanted.frequency_hz[k];
    error_db[k] = response.level_db[k] - target_db[k];
    const bool inside = f >= restraint.band.low.value() && f <= restraint.band.high.value();
    wanted.weight.push_back(inside ? importance_of(f) : 0.0);
  }
  wanted.gain_db.assign(count, 0.0);
  if (count == 0) return wanted;
  wanted.level_db = mean_level_db(error_db, target_db, wanted.weight);
  const auto closed_db = close_dips(error_db, static_cast<std::size_t>(narrow_octaves * points_per_octave) | 1U);
  for (std::size_t k = 0; k < count; ++k) {
    if (wanted.weight[k] <= 0.0) continue;
    double e = error_db[k] - wanted.level_db;
    // A peak on the slope of the speaker's own end is left where it only makes the bass reach further down.
    if (e > 0.0 && !restraint.low_end_db.empty()) e = std::min(e, std::max(0.0, e + restraint.low_end_db[k]));
    if (e < 0.0) {
      const double rim = std::min(0.0, closed_db[k] - wanted.level_db);
      if (rim - e > 1.0) wanted.weight[k] *= closed_weight;
      e = rim;
    }
    const double reference = e > 0.0 ? peak_spread_db : dip_spread_db;
    const double agreement = 1.0 / (1.0 + std::pow(response.spread_db[k] / reference, 2.0));
    wanted.gain_db[k] =
        std::clamp(-e * agreement, restraint.gain_range_db[0], std::max(0.0, restraint.gain_range_db[1]));
  }
  return wanted;
}

}  // namespace ringtrue
