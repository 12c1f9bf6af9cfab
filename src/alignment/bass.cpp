#include "ringtrue/alignment/bass.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <numbers>

namespace ringtrue {
namespace {

constexpr double near_enough_db = 0.1;  // losses that count as equal
constexpr double most_a_main_loses_db =
    0.9;                              // against arrival alone; 1 dB is wanted, the rest is for what is not known
constexpr int steps_per_period = 64;  // of the lowest crossover: a 32nd period at the top of its band
constexpr int refinement = 8;         // steps in one coarse step

double db(double power) { return 10.0 * std::log10(std::max(power, 1e-30)); }

/// |main + sub|^2 = still + 2 Re(turning exp(i w shift)) for a sub that comes `shift` later.
struct Bin {
  double rad_per_ms;
  double weight;  // share of the band
  double still;
  std::complex<double> turning;
};

/// One pair at one mic position.
using Seat = std::vector<Bin>;

/// Shares of the bins in a band on a logarithmic scale; each reaches halfway to its neighbours.
std::vector<double> log_weights(std::span<const double> frequency_hz) {
  const std::size_t n = frequency_hz.size();
  std::vector<double> weights(n, 1.0);
  if (n < 2) return weights;
  double sum = 0.0;
  for (std::size_t k = 0; k < n; ++k) {
    const double below = frequency_hz[k == 0 ? 0 : k - 1];
    const double above = frequency_hz[k + 1 == n ? k : k + 1];
    weights[k] = std::log(above / below);
    sum += weights[k];
  }
  for (double& weight : weights) weight /= sum;
  return weights;
}

std::vector<Seat> seats_of(const BassPair& pair) {
  const auto weights = log_weights(pair.frequency_hz);
  std::vector<Seat> seats(pair.main.size());
  for (std::size_t p = 0; p < seats.size(); ++p) {
    for (std::size_t k = 0; k < weights.size(); ++k) {
      const std::complex<double> main = pair.main[p][k];
      const std::complex<double> sub = pair.sub[p][k];
      seats[p].push_back({2e-3 * std::numbers::pi * pair.frequency_hz[k], weights[k], std::norm(main) + std::norm(sub),
                          2.0 * main * std::conj(sub)});
    }
  }
  return seats;
}

/// exp(i w shift) for every bin of a pair.
std::vector<std::complex<double>> turns(const Seat& seat, double shift_ms) {
  std::vector<std::complex<double>> result;
  result.reserve(seat.size());
  for (const Bin& bin : seat) result.push_back(std::polar(1.0, bin.rad_per_ms * shift_ms));
  return result;
}

/// Levels of both polarities at once: [0] as it is, [1] inverted.
std::array<BassLevel, 2> levels(const std::vector<Seat>& seats, double shift_ms) {
  std::array<BassLevel, 2> sum;
  const auto turn = turns(seats.front(), shift_ms);
  for (const Seat& seat : seats) {
    std::array<double, 2> power{};
    for (std::size_t k = 0; k < seat.size(); ++k) {
      const Bin& bin = seat[k];
      const double swing = bin.turning.real() * turn[k].real() - bin.turning.imag() * turn[k].imag();
      for (const std::size_t invert : {0U, 1U}) {
        const double p = bin.still + (invert == 1 ? -swing : swing);
        power[invert] += bin.weight * p;
        sum[invert].mean_db += bin.weight * db(p);
      }
    }
    for (const std::size_t invert : {0U, 1U}) sum[invert].power_db += db(power[invert]);
  }
  const double share = 1.0 / static_cast<double>(seats.size());
  for (BassLevel& level : sum) level = {level.power_db * share, level.mean_db * share};
  return sum;
}

BassLevel difference(const BassLevel& a, const BassLevel& b) {
  return {a.power_db - b.power_db, a.mean_db - b.mean_db};
}

/// What a shift and polarity do against arrival alone.
struct Trial {
  double shift_ms = 0.0;
  bool invert = false;
  BassLevel gain;
  double worst_change_db = 0.0;  // the smaller of both measures, of the main that loses most
};

/// All mains and positions, ready for any shift.
class Ring {
 public:
  Ring(std::span<const BassPair> pairs, bool arrival_inverted) {
    double sum = 0.0;
    for (const BassPair& pair : pairs) {
      seats_.push_back(seats_of(pair));
      shares_.push_back(pair.importance);
      arrival_.push_back(levels(seats_.back(), 0.0)[arrival_inverted ? 1 : 0]);
      sum += pair.importance;
    }
    for (double& share : shares_) share /= sum;
  }

  /// Both polarities, not inverted first.
  [[nodiscard]] std::array<Trial, 2> trials(double shift_ms) const {
    std::array<Trial, 2> result{Trial{shift_ms, false, {}, 1e9}, Trial{shift_ms, true, {}, 1e9}};
    for (std::size_t m = 0; m < seats_.size(); ++m) {
      const auto level = levels(seats_[m], shift_ms);
      for (const std::size_t i : {0U, 1U}) {
        const BassLevel change = difference(level[i], arrival_[m]);
        result[i].gain.power_db += shares_[m] * change.power_db;
        result[i].gain.mean_db += shares_[m] * change.mean_db;
        result[i].worst_change_db = std::min({result[i].worst_change_db, change.power_db, change.mean_db});
      }
    }
    return result;
  }

  [[nodiscard]] std::vector<BassLevel> changes(double shift_ms, bool invert) const {
    std::vector<BassLevel> result;
    for (std::size_t m = 0; m < seats_.size(); ++m) {
      result.push_back(difference(levels(seats_[m], shift_ms)[invert ? 1 : 0], arrival_[m]));
    }
    return result;
  }

 private:
  std::vector<std::vector<Seat>> seats_;  // [main][position]
  std::vector<double> shares_;
  std::vector<BassLevel> arrival_;
};

using Line = std::vector<Trial>;  // trials of one polarity, by shift

/// One line for each polarity that may be used, over the range around zero, which is one of the steps.
std::vector<Line> scan(const Ring& ring, const BassSearch& search, double step_ms) {
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

/// The highest of each measure over all trials.
BassLevel ceiling_of(const std::vector<Line>& lines) {
  BassLevel best{-1e9, -1e9};
  for (const Line& line : lines) {
    for (const Trial& trial : line) {
      best.power_db = std::max(best.power_db, trial.gain.power_db);
      best.mean_db = std::max(best.mean_db, trial.gain.mean_db);
    }
  }
  return best;
}

/// What a trial loses against the best of each measure; without end where a main loses too much.
double loss_db(const Trial& trial, const BassLevel& best) {
  if (trial.worst_change_db < -most_a_main_loses_db) return std::numeric_limits<double>::infinity();
  return std::max(best.power_db - trial.gain.power_db, best.mean_db - trial.gain.mean_db);
}

/// Trials at which the loss is no higher than at both neighbours.
std::vector<Trial> local_optima(const std::vector<Line>& lines, const BassLevel& best) {
  std::vector<Trial> optima;
  for (const Line& line : lines) {
    for (std::size_t i = 0; i < line.size(); ++i) {
      const double here = loss_db(line[i], best);
      const bool falls = i > 0 && loss_db(line[i - 1], best) < here;
      const bool rises = i + 1 < line.size() && loss_db(line[i + 1], best) < here;
      if (std::isfinite(here) && !falls && !rises) optima.push_back(line[i]);
    }
  }
  return optima;
}

/// Of the optima that are near enough to the least loss, the one nearest to arrival alone; the smaller loss of equals.
Trial nearest_good(const std::vector<Trial>& optima, const BassLevel& best) {
  double enough = std::numeric_limits<double>::infinity();
  for (const Trial& trial : optima) enough = std::min(enough, loss_db(trial, best));
  enough = std::max(enough, near_enough_db);
  const auto before = [&](const Trial& a, const Trial& b) {
    const bool a_good = loss_db(a, best) <= enough;
    const bool b_good = loss_db(b, best) <= enough;
    if (a_good != b_good) return a_good;
    const double further = std::abs(a.shift_ms) - std::abs(b.shift_ms);
    return further != 0.0 ? further < 0.0 : loss_db(a, best) < loss_db(b, best);
  };
  return *std::ranges::min_element(optima, before);
}

/// The best shift within one coarse step of a trial, same polarity.
Trial refined(const Ring& ring, const BassSearch& search, const Trial& start, const BassLevel& best, double step_ms) {
  Trial found = start;
  for (int i = -refinement + 1; i < refinement; ++i) {
    const double shift = start.shift_ms + i * step_ms / refinement;
    if (shift < search.earliest_ms || shift > search.latest_ms) continue;
    const Trial trial = ring.trials(shift)[start.invert ? 1 : 0];
    if (loss_db(trial, best) < loss_db(found, best)) found = trial;
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
  return levels(seats_of(pair), shift_ms)[invert ? 1 : 0];
}

BassAlignment align_bass(std::span<const BassPair> pairs, const BassSearch& search) {
  const Ring ring{pairs, search.inverted};
  const double step_ms = longest_period_ms(pairs) / steps_per_period;
  const auto lines = scan(ring, search, step_ms);
  const BassLevel best = ceiling_of(lines);
  const Trial coarse = nearest_good(local_optima(lines, best), best);
  const Trial found = refined(ring, search, coarse, best, step_ms);
  return {found.shift_ms, found.invert, found.gain, ring.changes(found.shift_ms, found.invert)};
}

}  // namespace ringtrue
