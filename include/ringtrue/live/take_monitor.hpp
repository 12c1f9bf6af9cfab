#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "ringtrue/capture/card.hpp"
#include "ringtrue/live/level_check.hpp"
#include "ringtrue/live/loopback_watch.hpp"
#include "ringtrue/stimulus/stimulus.hpp"

namespace ringtrue {

/// Watches a take of sweeps while it rolls and throws as soon as something makes it useless: the device or the
/// microphone gone (exact zeros for 0.2 s, where the inputs never are exactly zero), samples that are no numbers,
/// outputs muted (a sweep plays and the loopback stays silent for 0.15 s), another program playing (for 0.3 s of the
/// last 1.5 the loopback holds something that no wire makes of the sweeps), the loopback's input overloaded.
class TakeMonitor {
 public:
  /// @param stimulus  must outlive the monitor
  /// @param check  of the same device, just before: says how silent its inputs are and how late they hear
  TakeMonitor(const Stimulus& stimulus, const LevelCheck& check, std::string device);

  /// For Card::play. Looks at what has come since the last call. @returns true  @throws DeviceError
  bool operator()(const HeardSoFar& heard);

 private:
  void look_at(std::uint64_t frame, const HeardSoFar& heard);
  void look_for_mutes(std::uint64_t frame, double loopback);
  void look_for_others(std::uint64_t end);
  [[noreturn]] void fail_gone() const;
  [[noreturn]] void fail(const std::string& what, const std::string& remedy) const;

  struct Stretch {
    std::uint64_t from = 0;
    std::uint64_t to = 0;
    double amplitude = 0.0;
  };

  std::string device_;
  double rate_hz_;
  bool has_loopback_ = false;
  bool microphone_is_never_zero_;
  bool loopback_is_never_zero_;
  bool loopback_known_;
  LoopbackWatch watch_;
  std::vector<double> block_;      // of the loopback, since the watch was asked last
  std::vector<Stretch> sounding_;  // where a sweep is at full level in the loopback
  std::size_t next_sounding_ = 0;
  std::uint64_t looked_at_ = 0;
  std::uint64_t microphone_zeros_ = 0;
  std::uint64_t loopback_zeros_ = 0;
  std::uint64_t counted_ = 0;
  double energy_ = 0.0;
};

}  // namespace ringtrue
