#include "filter_kinds.hpp"

#include <algorithm>
#include <cmath>

namespace ringtrue {
namespace {

constexpr double most_q_low = 8.0;   // of a cut below the transition
constexpr double least_q_low = 1.0;  // broader ones would reach into what a pair shares
constexpr double least_q_high = 0.5;
constexpr double most_q_boost = 2.0;
constexpr double most_q_high = 2.0;  // above the transition: at least 0.7 octave wide
constexpr double shelf_q = 0.7;

std::array<double, 2> inside(std::array<double, 2> wanted, const std::array<double, 2>& range) {
  return {std::clamp(wanted[0], range[0], range[1]), std::clamp(wanted[1], range[0], range[1])};
}

/// Where any of the speakers is to be corrected.
std::array<double, 2> corrected_range_hz(std::span<const WantedCorrection> speakers, std::optional<std::size_t> only) {
  std::array<double, 2> range{1e9, 0.0};
  for (std::size_t m = 0; m < speakers.size(); ++m) {
    if (only && *only != m) continue;
    for (std::size_t k = 0; k < speakers[m].weight.size(); ++k) {
      if (speakers[m].weight[k] <= 0.0) continue;
      range = {std::min(range[0], speakers[m].frequency_hz[k]), std::max(range[1], speakers[m].frequency_hz[k])};
    }
  }
  return range;
}

void add_kinds(std::vector<FilterKind>& kinds, std::optional<std::size_t> speaker, std::array<double, 2> frequency_hz,
               const std::array<double, 2>& q_wanted, const EqualiserLimits& limits) {
  const auto place = inside(frequency_hz, limits.frequency_range_hz);
  if (!(place[1] > place[0] * 1.02)) return;
  for (const bool boost : {false, true}) {
    const auto q = inside({q_wanted[0], boost ? std::min(q_wanted[1], most_q_boost) : q_wanted[1]}, limits.q_range);
    if ((boost ? limits.gain_range_db[1] : -limits.gain_range_db[0]) <= 0.0) continue;
    kinds.push_back({FilterShape::peak, speaker, place, q, boost});
  }
}

}  // namespace

std::vector<FilterKind> filter_kinds(std::span<const WantedCorrection> speakers, const EqualiserLimits& limits,
                                     double transition_hz) {
  std::vector<FilterKind> kinds;
  for (std::size_t m = 0; m < speakers.size(); ++m) {
    const auto range = corrected_range_hz(speakers, m);
    add_kinds(kinds, m, {range[0], std::min(range[1], transition_hz)}, {least_q_low, most_q_low}, limits);
  }
  const auto range = corrected_range_hz(speakers, std::nullopt);
  add_kinds(kinds, std::nullopt, {std::max(range[0], transition_hz), range[1]}, {least_q_high, most_q_high}, limits);
  const auto shelves = inside({range[0] * 1.5, range[1] / 1.5}, limits.frequency_range_hz);
  const auto flat_q = inside({0.5, shelf_q}, limits.q_range);
  if (shelves[1] > shelves[0] && flat_q[1] <= 1.0) {
    for (const bool boost : {false, true}) {
      if ((boost ? limits.gain_range_db[1] : -limits.gain_range_db[0]) <= 0.0) continue;
      const auto high = inside({std::max(shelves[0], transition_hz), shelves[1]}, shelves);
      if (high[1] > high[0]) kinds.push_back({FilterShape::high_shelf, std::nullopt, high, flat_q, boost});
      for (std::size_t m = 0; m < speakers.size(); ++m) {
        const auto low = inside({shelves[0], std::min(shelves[1], 0.5 * transition_hz)}, shelves);
        if (low[1] > low[0]) kinds.push_back({FilterShape::low_shelf, m, low, flat_q, boost});
      }
    }
  }
  return kinds;
}

std::vector<FilterCandidate> filter_candidates(const FitModel& model, const FilterKind& kind) {
  constexpr double octave_step = 0.25;
  std::vector<FilterCandidate> candidates;
  for (double f = kind.frequency_hz[0]; f <= kind.frequency_hz[1] * 1.0001; f *= std::exp2(octave_step)) {
    for (double q = kind.q[0]; q <= kind.q[1] * 1.0001; q *= 2.0) {
      const Filter filter{kind.shape, f, kind.boost ? 3.0 : -3.0, q};
      candidates.push_back({filter, model.gain_of(filter) / filter.gain_db});
    }
  }
  return candidates;
}

}  // namespace ringtrue
