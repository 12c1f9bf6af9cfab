#include <Eigen/Cholesky>
#include <algorithm>
#include <cmath>

#include "fit_model.hpp"

namespace ringtrue {
namespace {

constexpr double least_progress = 1e-4;  // relative: smaller steps end the search
constexpr double least_damping = 1e-6;
constexpr double most_damping = 1e6;

using Parameters = std::array<double, 3>;  // ln f, gain, ln Q

Parameters parameters_of(const Slot& slot) {
  return {std::log(slot.filter.frequency_hz), slot.filter.gain_db, std::log(slot.filter.q)};
}

std::array<Parameters, 2> bounds_of(const Slot& slot) {
  return {Parameters{std::log(slot.frequency_hz[0]), slot.gain_db[0], std::log(slot.q[0])},
          Parameters{std::log(slot.frequency_hz[1]), slot.gain_db[1], std::log(slot.q[1])}};
}

/// True where a parameter sits at a bound and wants to go beyond it.
bool pinned(const Slot& slot, std::size_t p, double downhill) {
  const double value = parameters_of(slot)[p];
  const auto [low, high] = bounds_of(slot);
  return (value <= low[p] + 1e-12 && downhill < 0.0) || (value >= high[p] - 1e-12 && downhill > 0.0);
}

/// The slots after a damped step, kept inside their bounds.
std::vector<Slot> stepped(const std::vector<Slot>& slots, Eigen::MatrixXd square, Eigen::VectorXd downhill,
                          double damping) {
  for (std::size_t i = 0; i < slots.size(); ++i) {
    for (std::size_t p = 0; p < 3; ++p) {
      const auto k = static_cast<Eigen::Index>(3 * i + p);
      if (!pinned(slots[i], p, downhill(k))) continue;
      square.row(k).setZero();
      square.col(k).setZero();
      downhill(k) = 0.0;
    }
  }
  square.diagonal() = square.diagonal() * (1.0 + damping) + Eigen::VectorXd::Constant(square.rows(), 1e-9);
  const Eigen::VectorXd step = square.ldlt().solve(downhill);
  std::vector<Slot> result = slots;
  for (std::size_t i = 0; i < slots.size(); ++i) {
    Parameters x = parameters_of(slots[i]);
    const auto [low, high] = bounds_of(slots[i]);
    for (std::size_t p = 0; p < 3; ++p)
      x[p] = std::clamp(x[p] + step(static_cast<Eigen::Index>(3 * i + p)), low[p], high[p]);
    result[i].filter.frequency_hz = std::exp(x[0]);
    result[i].filter.gain_db = x[1];
    result[i].filter.q = std::exp(x[2]);
  }
  return result;
}

}  // namespace

void move_slots(const FitModel& model, std::vector<Slot>& slots, int most_steps) {
  if (slots.empty()) return;
  double damping = 1e-2;
  double cost = model.cost(slots);
  Eigen::MatrixXd square;
  Eigen::VectorXd downhill;
  for (int i = 0; i < most_steps; ++i) {
    model.normal_equations(slots, square, downhill);
    double progress = 0.0;
    while (damping < most_damping) {
      std::vector<Slot> trial = stepped(slots, square, downhill, damping);
      const double trial_cost = model.cost(trial);
      if (trial_cost < cost) {
        progress = cost - trial_cost;
        slots = std::move(trial);
        cost = trial_cost;
        damping = std::max(least_damping, 0.2 * damping);
        break;
      }
      damping *= 4.0;
    }
    if (progress <= least_progress * cost) return;
  }
}

}  // namespace ringtrue
