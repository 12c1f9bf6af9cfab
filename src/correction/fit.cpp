#include "ringtrue/correction/fit.hpp"

#include <algorithm>
#include <cmath>

#include "filter_kinds.hpp"
#include "fit_model.hpp"

namespace ringtrue {
namespace {

constexpr double least_boost_share = 0.5;  // of a boost that must be left in the sum at its own frequency
constexpr double least_win = 0.008;        // of the cost without filters: what another filter must win
constexpr double least_win_db2 = 0.01;     // and in dB^2
constexpr double least_gain_db = 0.25;     // less is not worth a filter
constexpr int steps_between = 12;          // Levenberg-Marquardt, after each filter
constexpr int steps_at_end = 60;

class Placement {
 public:
  Placement(std::span<const WantedCorrection> speakers, const EqualiserLimits& limits, double transition_hz)
      : model_{speakers, limits}, limits_{limits}, kinds_{filter_kinds(speakers, limits, transition_hz)} {
    for (const FilterKind& kind : kinds_) candidates_.push_back(filter_candidates(model_, kind));
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
    part_fighters();
    thin_out(enough);
    part_fighters();
    round_slots(model_, slots_, limits_);
    std::erase_if(slots_, [](const Slot& slot) { return std::abs(slot.filter.gain_db) < least_gain_db; });
    keep_below_limit();
    return slots_;
  }

 private:
  void part_fighters() {
    while (const auto against = fighter(slots_)) {
      slots_.erase(slots_.begin() + *against);
      move_slots(model_, slots_, steps_between);
    }
  }

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
      const FilterKind& kind = kinds_[i];
      if (!has_room(kind.speaker) || (kind.boost && !boosts_)) continue;
      const std::array<double, 2> range = {kind.boost ? 0.0 : limits_.gain_range_db[0],
                                           kind.boost ? limits_.gain_range_db[1] : 0.0};
      for (const FilterCandidate& candidate : candidates_[i]) {
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
  std::vector<FilterKind> kinds_;
  std::vector<std::vector<FilterCandidate>> candidates_;
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
