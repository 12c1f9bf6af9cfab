#include <algorithm>
#include <cmath>

#include "fit_model.hpp"

namespace ringtrue {
namespace {

constexpr int most_rounds = 8;

/// The nearest whole number of steps inside the bounds; the nearer bound where there is none.
double on_grid(double value, double step, const std::array<double, 2>& bounds) {
  const double low = std::ceil(bounds[0] / step - 1e-9);
  const double high = std::floor(bounds[1] / step + 1e-9);
  if (low > high) return std::clamp(value, bounds[0], bounds[1]);
  return std::clamp(std::round(value / step), low, high) * step;
}

/// One parameter of a filter with its step and bounds.
struct Dial {
  double Filter::*value;
  double step;
  std::array<double, 2> bounds;
};

std::array<Dial, 3> dials_of(const Slot& slot, const EqualiserLimits& limits) {
  return {Dial{&Filter::gain_db, limits.gain_step_db, slot.gain_db},
          Dial{&Filter::frequency_hz, limits.frequency_step_hz, slot.frequency_hz},
          Dial{&Filter::q, limits.q_step, slot.q}};
}

}  // namespace

void round_slots(const FitModel& model, std::vector<Slot>& slots, const EqualiserLimits& limits) {
  for (Slot& slot : slots) {
    for (const Dial& dial : dials_of(slot, limits)) {
      slot.filter.*dial.value = on_grid(slot.filter.*dial.value, dial.step, dial.bounds);
    }
  }
  std::vector<Eigen::ArrayXd> gains;
  for (std::size_t m = 0; m < model.speaker_count(); ++m) gains.push_back(model.gain_of(slots, m));
  const auto cost_with = [&](const Slot& slot, const Eigen::ArrayXd& change) {
    double sum = 0.0;
    for (std::size_t m = 0; m < gains.size(); ++m) sum += model.cost(slot.serves(m) ? gains[m] + change : gains[m], m);
    return sum;
  };
  double cost = model.cost(slots);
  bool improved = true;
  for (int round = 0; improved && round < most_rounds; ++round) {
    improved = false;
    for (Slot& slot : slots) {
      for (const Dial& dial : dials_of(slot, limits)) {
        for (const double sign : {1.0, -1.0}) {
          Filter trial = slot.filter;
          trial.*dial.value = on_grid(trial.*dial.value + sign * dial.step, dial.step, dial.bounds);
          if (trial == slot.filter) continue;
          const Eigen::ArrayXd change = model.gain_of(trial) - model.gain_of(slot.filter);
          const double trial_cost = cost_with(slot, change);
          if (trial_cost >= cost - 1e-9) continue;
          for (std::size_t m = 0; m < gains.size(); ++m) {
            if (slot.serves(m)) gains[m] += change;
          }
          slot.filter = trial;
          cost = trial_cost;
          improved = true;
          break;
        }
      }
    }
  }
}

}  // namespace ringtrue
