#include "ringtrue/alignment/bass.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>

#include "bass_ring.hpp"

namespace ringtrue {
namespace {

constexpr double near_enough_db = 0.1;  // losses that count as equal
constexpr int steps_per_period = 64;    // of the lowest crossover: a 32nd period at the top of its band
constexpr int refinement = 8;           // steps in one coarse step

using Line = std::vector<BassTrial>;  // trials of one polarity, by shift

/// One line for each polarity that may be used, over the range around zero, which is one of the steps.
std::vector<Line> scan(const BassRing& ring, const BassSearch& search, double step_ms) {
  const int first = static_cast<int>(std::ceil(search.earliest_ms / step_ms));
  const int last = static_cast<int>(std::floor(search.latest_ms / step_ms));
  std::array<Line, 2> both;
  for (int i = first; i <= last; ++i) {
    const auto trials = ring.trials(i * step_ms);
    for (const std::size_t invert : {0U, 1U}) both[invert].push_back(trials[invert]);
  }
  if (search.may_invert) return {both[0], both[1]};
  return {both[search.inverted ? 1 : 0]};
}

/// What trials are judged by.
struct Bounds {
  BassLevel best{-1e9, -1e9};                      // the highest of each measure over all trials
  double least_change_db = -most_a_main_loses_db;  // of the worst main; lower where nothing keeps it
};

Bounds bounds_of(const std::vector<Line>& lines) {
  Bounds bounds;
  double kindest_db = -1e9;
  for (const Line& line : lines) {
    for (const BassTrial& trial : line) {
      bounds.best.power_db = std::max(bounds.best.power_db, trial.gain.power_db);
      bounds.best.mean_db = std::max(bounds.best.mean_db, trial.gain.mean_db);
      kindest_db = std::max(kindest_db, trial.worst_change_db);
    }
  }
  bounds.least_change_db = std::min(bounds.least_change_db, kindest_db);
  return bounds;
}

/// What a trial loses against the best of each measure; without end where a main loses too much.
double loss_db(const BassTrial& trial, const Bounds& bounds) {
  if (trial.worst_change_db < bounds.least_change_db) return std::numeric_limits<double>::infinity();
  return std::max(bounds.best.power_db - trial.gain.power_db, bounds.best.mean_db - trial.gain.mean_db);
}

/// Trials at which the loss is no higher than at both neighbours.
std::vector<BassTrial> local_optima(const std::vector<Line>& lines, const Bounds& bounds) {
  std::vector<BassTrial> optima;
  for (const Line& line : lines) {
    for (std::size_t i = 0; i < line.size(); ++i) {
      const double here = loss_db(line[i], bounds);
      const bool falls = i > 0 && loss_db(line[i - 1], bounds) < here;
      const bool rises = i + 1 < line.size() && loss_db(line[i + 1], bounds) < here;
      if (std::isfinite(here) && !falls && !rises) optima.push_back(line[i]);
    }
  }
  return optima;
}

/// Of the optima that are near enough to the least loss, the one nearest to arrival alone; the smaller loss of equals.
BassTrial nearest_good(const std::vector<BassTrial>& optima, const Bounds& bounds) {
  double enough = std::numeric_limits<double>::infinity();
  for (const BassTrial& trial : optima) enough = std::min(enough, loss_db(trial, bounds));
  enough = std::max(enough, near_enough_db);
  const auto before = [&](const BassTrial& a, const BassTrial& b) {
    const bool a_good = loss_db(a, bounds) <= enough;
    const bool b_good = loss_db(b, bounds) <= enough;
    if (a_good != b_good) return a_good;
    const double further = std::abs(a.shift_ms) - std::abs(b.shift_ms);
    return further != 0.0 ? further < 0.0 : loss_db(a, bounds) < loss_db(b, bounds);
  };
  return *std::ranges::min_element(optima, before);
}

/// The best shift within one coarse step of a trial, same polarity.
BassTrial refined(const BassRing& ring, const BassSearch& search, const BassTrial& start, const Bounds& bounds,
                  double step_ms) {
  BassTrial found = start;
  for (int i = -refinement + 1; i < refinement; ++i) {
    const double shift = start.shift_ms + i * step_ms / refinement;
    if (shift < search.earliest_ms || shift > search.latest_ms) continue;
    const BassTrial trial = ring.trials(shift)[start.invert ? 1 : 0];
    if (loss_db(trial, bounds) < loss_db(found, bounds)) found = trial;
  }
  return found;
}

/// Period of the lowest crossover: half an octave into the middle of a band of two.
double longest_period_ms(std::span<const BassPair> pairs) {
  double longest = 0.0;
  for (const BassPair& pair : pairs) {
    const double crossover_hz = std::sqrt(pair.frequency_hz.front() * pair.frequency_hz.back());
    longest = std::max(longest, 1e3 / crossover_hz);
  }
  return longest;
}

}  // namespace

BassLevel bass_level(const BassPair& pair, double shift_ms, bool invert) {
  return bass_levels(bass_seats(pair), shift_ms)[invert ? 1 : 0];
}

BassAlignment align_bass(std::span<const BassPair> pairs, const BassSearch& search) {
  const BassRing ring{pairs, search.inverted};
  const double step_ms = longest_period_ms(pairs) / steps_per_period;
  const auto lines = scan(ring, search, step_ms);
  const Bounds bounds = bounds_of(lines);
  const BassTrial coarse = nearest_good(local_optima(lines, bounds), bounds);
  const BassTrial found = refined(ring, search, coarse, bounds, step_ms);
  return {found.shift_ms, found.invert, found.gain, ring.changes(found.shift_ms, found.invert), loss_db(found, bounds)};
}

}  // namespace ringtrue
