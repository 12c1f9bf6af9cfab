#include "bass_curves.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "equalise.hpp"

namespace ringtrue {
namespace {

using Complex = std::complex<double>;

constexpr double curve_from_hz = 20.0;
constexpr int curve_points_per_octave = 12;
constexpr double curve_to_hz = 320.0;  // or an octave above the highest crossover
constexpr double floor_power = 1e-12;
constexpr double phase_reach = 1.122462048309373;  // 2^(1/6): a third of an octave in all

std::vector<double> drawn_frequencies(const CrossoverChoice& crossover) {
  const double top_hz = std::max(curve_to_hz, 2.0 * *std::ranges::max_element(crossover.frequency_hz));
  const int points = static_cast<int>(std::ceil(curve_points_per_octave * std::log2(top_hz / curve_from_hz) - 1e-9));
  std::vector<double> all;
  for (int k = 0; k <= points; ++k)
    all.push_back(curve_from_hz * std::exp2(static_cast<double>(k) / curve_points_per_octave));
  return all;
}

/// What a setting does to the sub's branch at one frequency.
Complex turn(const BassAlignment& alignment, double frequency_hz) {
  const double angle = -2e-3 * std::numbers::pi * frequency_hz * alignment.shift_ms;
  return std::polar(1.0, angle) * (alignment.invert ? -1.0 : 1.0);
}

/// The subs as they would play by arrival and measured polarity alone.
const BassResponses& by_arrival(const BassPair& pair) {
  return pair.sub_by_arrival.empty() ? pair.sub : pair.sub_by_arrival;
}

/// Levels of `main_weight` main + `sub_weight(f)` sub at the drawn frequencies.
template <class SubWeight>
std::vector<double> levels_db(const BassPair& pair, const BassResponses& sub, std::span<const double> drawn_hz,
                              double main_weight, const SubWeight& sub_weight) {
  std::vector<double> powers;
  for (std::size_t k = 0; k < pair.frequency_hz.size(); ++k) {
    const double f = pair.frequency_hz[k];
    double power = 0.0;
    for (std::size_t p = 0; p < pair.main.size(); ++p) {
      power += std::norm(main_weight * pair.main[p][k] + sub_weight(f) * sub[p][k]);
    }
    powers.push_back(power / static_cast<double>(pair.main.size()));
  }
  const double reach = std::exp2(0.5 / curve_points_per_octave);
  std::vector<double> levels;
  for (const double f : drawn_hz) {
    GridRange near = grid_range(pair.frequency_hz, {Hertz{f / reach}, Hertz{f * reach}});
    if (near.count == 0) near = {std::min(near.first, powers.size() - 1), 1};  // bins lie further apart at the bottom
    double sum = 0.0;
    for (std::size_t k = near.first; k < near.first + near.count; ++k) sum += powers[k];
    levels.push_back(10.0 * std::log10(std::max(sum / static_cast<double>(near.count), floor_power)));
  }
  return levels;
}

/// Angle of the sub against the main around the crossover; strong bins count more.
double phase_deg(const BassPair& pair, const BassResponses& sub, double crossover_hz, const BassAlignment& alignment) {
  const GridRange near =
      grid_range(pair.frequency_hz, {Hertz{crossover_hz / phase_reach}, Hertz{crossover_hz * phase_reach}});
  Complex sum;
  for (std::size_t k = near.first; k < near.first + near.count; ++k) {
    for (std::size_t p = 0; p < pair.main.size(); ++p) {
      sum += sub[p][k] * turn(alignment, pair.frequency_hz[k]) * std::conj(pair.main[p][k]);
    }
  }
  return std::arg(sum) * 180.0 / std::numbers::pi;
}

/// The mains' level after their trims, the average in dB.
double common_level_db(std::span<const std::size_t> mains, std::span<const SpeakerResult> speakers) {
  double sum = 0.0;
  for (const std::size_t s : mains) {
    sum += equalised_level_db(speakers[s]) + *speakers[s].settings.trim_db;
  }
  return sum / static_cast<double>(mains.size());
}

}  // namespace

BassPicture picture_bass(const Rig& rig, const BassMeasurement& bass, const SubwooferGroup& group,
                         const BassAlignment& alignment, std::span<const SpeakerResult> speakers) {
  const CrossoverChoice crossover = crossover_of(rig);
  BassPicture picture{drawn_frequencies(crossover), {}};
  const auto& drawn_hz = picture.frequency_hz;
  constexpr double half_a_step = 1.03;  // beyond both ends
  const Band judged{Hertz{drawn_hz.front() / half_a_step}, Hertz{drawn_hz.back() * half_a_step}};
  const BassPairs mains = pair_mains(rig, bass, group, crossover, speakers, judged);
  const double reference_db = common_level_db(mains.mains, speakers);
  const auto none = [](double) { return Complex{0.0}; };
  const auto as_it_is = [](double) { return Complex{1.0}; };
  const auto settled = [&](double f) { return turn(alignment, f); };
  for (std::size_t m = 0; m < mains.pairs.size(); ++m) {
    const BassPair& pair = mains.pairs[m];
    const std::size_t s = mains.mains[m];
    const auto levels = [&](const BassResponses& sub, double main_weight, const auto& sub_weight) {
      auto all = levels_db(pair, sub, drawn_hz, main_weight, sub_weight);
      for (double& level : all) level -= reference_db;
      return all;
    };
    const double crossover_hz = crossover.frequency_hz[s];
    const BassResponses& before = by_arrival(pair);
    picture.mains.push_back({rig.speakers[s].label, crossover_hz, levels(pair.sub, 1.0, none),
                             levels(pair.sub, 0.0, as_it_is), levels(before, 1.0, as_it_is),
                             levels(pair.sub, 1.0, settled), phase_deg(pair, before, crossover_hz, BassAlignment{}),
                             phase_deg(pair, pair.sub, crossover_hz, alignment)});
  }
  return picture;
}

}  // namespace ringtrue
