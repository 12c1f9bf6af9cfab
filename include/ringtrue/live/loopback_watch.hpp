#pragma once

#include <cstddef>
#include <cstdint>
#include <deque>
#include <map>
#include <span>
#include <vector>

#include "ringtrue/live/level_check.hpp"
#include "ringtrue/stimulus/stimulus.hpp"

namespace ringtrue {

struct WireFit;

/// Listens to the loopback, block after block, for what was not played by us: whatever a wire cannot have made of our
/// own sweeps. Lost, repeated and late samples are not taken for another program: they take away from the sweep or move
/// it, another program adds to it.
class LoopbackWatch {
 public:
  static constexpr double block_s = 0.05;

  /// @param stimulus  must outlive the watch  @param check  knows the loopback: its lag, gain, noise
  LoopbackWatch(const Stimulus& stimulus, const LevelCheck& check);

  /// The next block of the loopback. @returns whether another program plays: something foreign in 0.3 s of the last 1.5
  bool hears_another(std::uint64_t first_frame, std::span<const double> heard);

  /// The loopback's input was at full scale where our own sweep took it there.
  [[nodiscard]] bool overloaded() const { return overloaded_; }

 private:
  enum class Kind { ours, foreign, torn };

  [[nodiscard]] Kind judge(std::uint64_t first_frame, std::span<const double> heard);
  [[nodiscard]] Kind foreign_or_torn(const WireFit& fit, double expected, double here) const;
  [[nodiscard]] std::vector<std::vector<double>> played_at(std::int64_t first_frame, std::size_t frames) const;
  [[nodiscard]] std::int64_t likely_lag(std::uint64_t first_frame, std::span<const double> heard) const;
  [[nodiscard]] double allowed_power(std::int64_t first_frame) const;
  [[nodiscard]] double expected_power(std::span<const double> played) const;
  void learn(std::int64_t first_frame, std::span<const double> played, const WireFit& fit);

  const Stimulus* stimulus_;
  double peak_ = 0.0;     // of the loudest sweep, as played
  double ceiling_ = 1.0;  // the outputs are cut off there
  double floor_power_;    // of the loopback with nothing playing
  std::int64_t lag_;
  double gain_;
  bool gain_is_known_ = false;
  bool overloaded_ = false;
  std::map<std::size_t, double> most_of_shape_;  // of a healthy sweep's power, that was not explained
  std::map<std::size_t, bool> whole_shape_;      // played to its end
  std::deque<bool> foreign_;                     // the last blocks
};

}  // namespace ringtrue
