#include "ringtrue/correction/fit.hpp"

#include <algorithm>
#include <cmath>

#include "fit_model.hpp"

namespace ringtrue {
namespace {

constexpr double most_q_low = 8.0;   // of a cut below the transition
constexpr double least_q_low = 1.0;  // broader ones would reach into what a pair shares
constexpr double least_q_high = 0.5;
constexpr double most_q_boost = 2.0;
constexpr double most_q_high = 2.0;  // above the transition: at least 0.7 octave wide
constexpr double shelf_q = 0.7;
constexpr double least_boost_share = 0.5;  // of a boost that must be left in the sum at its own frequency
constexpr double least_win = 0.008;        // of the cost without filters: what another filter must win
constexpr double least_win_db2 = 0.01;     // and in dB^2
constexpr double least_gain_db = 0.25;     // less is not worth a filter
constexpr int steps_between = 12;          // Levenberg-Marquardt, after each filter
constexpr int steps_at_end = 60;

/// A kind of filter that may be placed: where, by whom, how.
struct Kind {
  FilterShape shape;
  std::optional<std::size_t> speaker;
  std::array<double, 2> frequency_hz;
  std::array<double, 2> q;
  bool boost;
};

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

void add_kinds(std::vector<Kind>& kinds, std::optional<std::size_t> speaker, std::array<double, 2> frequency_hz,
               const std::array<double, 2>& q_wanted, const EqualiserLimits& limits) {
  const auto place = inside(frequency_hz, limits.frequency_range_hz);
  if (!(place[1] > place[0] * 1.02)) return;
  for (const bool boost : {false, true}) {
    const auto q = inside({q_wanted[0], boost ? std::min(q_wanted[1], most_q_boost) : q_wanted[1]}, limits.q_range);
    if ((boost ? limits.gain_range_db[1] : -limits.gain_range_db[0]) <= 0.0) continue;
    kinds.push_back({FilterShape::peak, speaker, place, q, boost});
  }
}

std::vector<Kind> kinds_of(std::span<const WantedCorrection> speakers, const EqualiserLimits& limits,
                           double transition_hz) {
  std::vector<Kind> kinds;
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

/// Filters of one shape on a grid of frequencies and Qs, as gains per dB; made once and used for every placement.
struct Candidate {
  Filter filter;  // at -3 or +3 dB
  Eigen::ArrayXd unit;
};

std::vector<Candidate> candidates_of(const FitModel& model, const Kind& kind) {
  constexpr double octave_step = 0.25;
  std::vector<Candidate> candidates;
  for (double f = kind.frequency_hz[0]; f <= kind.frequency_hz[1] * 1.0001; f *= std::exp2(octave_step)) {
    for (double q = kind.q[0]; q <= kind.q[1] * 1.0001; q *= 2.0) {
      const Filter filter{kind.shape, f, kind.boost ? 3.0 : -3.0, q};
      candidates.push_back({filter, model.gain_of(filter) / filter.gain_db});
    }
  }
  return candidates;
}

class Placement {
 public:
  Placement(std::span<const WantedCorrection> speakers, const EqualiserLimits& limits, double transition_hz)
      : model_{speakers, limits}, limits_{limits}, kinds_{kinds_of(speakers, limits, transition_hz)} {
    for (const Kind& kind : kinds_) candidates_.push_back(candidates_of(model_, kind));
  }

  std::vector<Slot> slots() {
    const double whole = model_.cost(slots_);
    const double enough = std::max(least_win * whole, least_win_db2 * static_cast<double>(model_.speaker_count()));
    double cost = whole;
    while (true) {
      const auto next = best_slot();
      if (!next) break;
      std::vector<Slot> trial = slots_;
      trial.push_back(*next);
      move_slots(model_, trial, steps_between);
      if (next->filter.gain_db > 0.0 && fighter(trial)) {  // it would only reshape a cut
        boosts_ = false;
        continue;
      }
      const double trial_cost = model_.cost(trial);
      if (cost - trial_cost < enough * share_of(*next)) break;
      slots_ = std::move(trial);
      cost = trial_cost;
    }
    move_slots(model_, slots_, steps_at_end);
    while (const auto against = fighter(slots_)) {
      slots_.erase(slots_.begin() + *against);
      move_slots(model_, slots_, steps_between);
    }
    thin_out(enough);
    round_slots(model_, slots_, limits_);
    std::erase_if(slots_, [](const Slot& slot) { return std::abs(slot.filter.gain_db) < least_gain_db; });
    keep_below_limit();
    return slots_;
  }

 private:
  /// A boost where all filters together do not boost: one filter would fight another, which costs bands and headroom.
  [[nodiscard]] std::optional<std::ptrdiff_t> fighter(const std::vector<Slot>& slots) const {
    for (std::size_t i = 0; i < slots.size(); ++i) {
      if (slots[i].filter.gain_db <= 0.0) continue;
      for (std::size_t m = 0; m < model_.speaker_count(); ++m) {
        if (!slots[i].serves(m)) continue;
        std::vector<Filter> filters;
        for (const Slot& slot : slots) {
          if (slot.serves(m)) filters.push_back(slot.filter);
        }
        const auto total = gain_db(filters, std::array{slots[i].filter.frequency_hz}, Hertz{limits_.sample_rate_hz});
        if (total.front() < least_boost_share * slots[i].filter.gain_db) return static_cast<std::ptrdiff_t>(i);
      }
    }
    return std::nullopt;
  }

  /// A filter of one of two speakers needs to win half of what one of both does.
  [[nodiscard]] double share_of(const Slot& slot) const {
    return slot.speaker ? 1.0 / static_cast<double>(model_.speaker_count()) : 1.0;
  }

  [[nodiscard]] bool has_room(std::optional<std::size_t> speaker) const {
    for (std::size_t m = 0; m < model_.speaker_count(); ++m) {
      if (speaker && *speaker != m) continue;
      if (std::ranges::count_if(slots_, [&](const Slot& slot) { return slot.serves(m); }) >= limits_.bands)
        return false;
    }
    return true;
  }

  /// The candidate that lowers what is left most per band it takes, its gain by linear least squares.
  [[nodiscard]] std::optional<Slot> best_slot() const {
    std::vector<Eigen::ArrayXd> left;
    for (std::size_t m = 0; m < model_.speaker_count(); ++m) left.push_back(model_.left(model_.gain_of(slots_, m), m));
    std::optional<Slot> best;
    double most = 0.0;
    for (std::size_t i = 0; i < kinds_.size(); ++i) {
      const Kind& kind = kinds_[i];
      if (!has_room(kind.speaker) || (kind.boost && !boosts_)) continue;
      const std::array<double, 2> range = {kind.boost ? 0.0 : limits_.gain_range_db[0],
                                           kind.boost ? limits_.gain_range_db[1] : 0.0};
      for (const Candidate& candidate : candidates_[i]) {
        double along = 0.0, size = 0.0;
        for (std::size_t m = 0; m < left.size(); ++m) {
          if (kind.speaker && *kind.speaker != m) continue;
          const Eigen::ArrayXd& w = model_.weight(m);
          const double mean = (w * candidate.unit).sum();
          along += (w * left[m] * (candidate.unit - mean)).sum();
          size += (w * (candidate.unit - mean).square()).sum();
        }
        if (size <= 1e-9) continue;
        const double gain = std::clamp(along / size, range[0], range[1]);
        const double takes = kind.speaker ? 1.0 : static_cast<double>(left.size());
        const double wins = (2.0 * along - gain * size) * gain / takes * (kind.boost ? 0.8 : 1.0);
        if (wins <= most) continue;
        most = wins;
        best = Slot{{kind.shape, candidate.filter.frequency_hz, gain, candidate.filter.q},
                    kind.speaker,
                    kind.frequency_hz,
                    range,
                    kind.q};
      }
    }
    return best;
  }

  /// Takes filters out again whose place the others have taken over.
  void thin_out(double enough) {
    for (bool removed = true; removed && !slots_.empty();) {
      removed = false;
      const double cost = model_.cost(slots_);
      for (std::size_t i = 0; i < slots_.size(); ++i) {
        std::vector<Slot> trial = slots_;
        trial.erase(trial.begin() + static_cast<std::ptrdiff_t>(i));
        if (model_.cost(trial) - cost > 6.0 * enough) continue;  // moving the others will not make that good
        move_slots(model_, trial, steps_between);
        if (model_.cost(trial) - cost > enough * share_of(slots_[i])) continue;
        slots_ = std::move(trial);
        removed = true;
        break;
      }
    }
  }

  /// The penalty all but keeps the sum below the limit; steps of gain do the rest.
  void keep_below_limit() {
    for (std::size_t m = 0; m < model_.speaker_count(); ++m) {
      while (true) {
        std::vector<Filter> filters;
        for (const Slot& slot : slots_) {
          if (slot.serves(m)) filters.push_back(slot.filter);
        }
        if (largest_gain_db(filters, Hertz{limits_.sample_rate_hz}) <= model_.most_boost_db() + 1e-9) break;
        const auto highest = std::ranges::max_element(
            slots_, {}, [&](const Slot& slot) { return slot.serves(m) ? slot.filter.gain_db : -1e9; });
        highest->filter.gain_db = std::max(0.0, highest->filter.gain_db - limits_.gain_step_db);
        if (highest->filter.gain_db <= 0.0) slots_.erase(highest);
      }
    }
  }

  FitModel model_;
  EqualiserLimits limits_;
  std::vector<Kind> kinds_;
  std::vector<std::vector<Candidate>> candidates_;
  std::vector<Slot> slots_;
  bool boosts_ = true;  // may still be placed
};

}  // namespace

std::vector<std::vector<Filter>> fit_equalisers(std::span<const WantedCorrection> speakers,
                                                const EqualiserLimits& limits, Hertz transition) {
  std::vector<std::vector<Filter>> result(speakers.size());
  if (speakers.empty() || limits.bands < 1) return result;
  const auto slots = Placement{speakers, limits, transition.value()}.slots();
  for (std::size_t m = 0; m < speakers.size(); ++m) {
    for (const Slot& slot : slots) {
      if (slot.serves(m)) result[m].push_back(slot.filter);
    }
    std::ranges::stable_sort(result[m], {}, &Filter::frequency_hz);
  }
  return result;
}

}  // namespace ringtrue
