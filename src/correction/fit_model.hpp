#pragma once

#include <Eigen/Core>
#include <optional>
#include <span>
#include <vector>

#include "ringtrue/correction/fit.hpp"

namespace ringtrue {

/// A filter with the room it may move in, and whose it is.
struct Slot {
  Filter filter;
  std::optional<std::size_t> speaker;  // empty: of all
  std::array<double, 2> frequency_hz;
  std::array<double, 2> gain_db;
  std::array<double, 2> q;

  [[nodiscard]] bool serves(std::size_t index) const { return !speaker || *speaker == index; }
};

/// What a set of slots costs, and how that changes with their settings.
class FitModel {
 public:
  FitModel(std::span<const WantedCorrection> speakers, const EqualiserLimits& limits);

  [[nodiscard]] std::size_t speaker_count() const { return speakers_.size(); }
  [[nodiscard]] const std::vector<double>& frequency_hz() const { return speakers_.front().frequency_hz; }
  [[nodiscard]] double most_boost_db() const { return most_boost_db_; }
  [[nodiscard]] double sample_rate_hz() const { return sample_rate_hz_; }

  /// Gain of one filter on the grid, dB.
  [[nodiscard]] Eigen::ArrayXd gain_of(const Filter& filter) const;
  /// Sum of a speaker's filters.
  [[nodiscard]] Eigen::ArrayXd gain_of(std::span<const Slot> slots, std::size_t speaker) const;

  /// Weighted mean square of what is left, over all speakers, with the penalties; dB^2.
  [[nodiscard]] double cost(std::span<const Slot> slots) const;
  [[nodiscard]] double cost(const Eigen::ArrayXd& gain, std::size_t speaker) const;
  /// What is left to want of a speaker, its weighted mean removed.
  [[nodiscard]] Eigen::ArrayXd left(const Eigen::ArrayXd& gain, std::size_t speaker) const;
  [[nodiscard]] const Eigen::ArrayXd& weight(std::size_t speaker) const { return weights_[speaker]; }

  /// Gauss-Newton: J'J and -J'r of the cost for the parameters ln f, gain, ln Q of every slot, in that order.
  void normal_equations(std::span<const Slot> slots, Eigen::MatrixXd& square, Eigen::VectorXd& downhill) const;

 private:
  std::span<const WantedCorrection> speakers_;
  double sample_rate_hz_;
  double most_boost_db_;
  std::vector<Eigen::ArrayXd> wanted_;
  std::vector<Eigen::ArrayXd> weights_;  // of each speaker sum to 1
  Eigen::ArrayXd half_sine_square_;      // sin^2(pi f / fs)
};

/// Moves all slots to a local minimum of the cost inside their bounds.
void move_slots(const FitModel& model, std::vector<Slot>& slots, int most_steps);

/// Rounds all slots to the interface's steps, then takes single steps while they lower the cost.
void round_slots(const FitModel& model, std::vector<Slot>& slots, const EqualiserLimits& limits);

}  // namespace ringtrue
