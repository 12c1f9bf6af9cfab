#pragma once

#include <cstddef>
#include <optional>
#include <span>
#include <vector>

#include "ringtrue/capture/recording.hpp"
#include "ringtrue/response/measurement.hpp"
#include "ringtrue/rig/rig.hpp"
#include "ringtrue/stimulus/stimulus.hpp"

namespace ringtrue {

struct LineOptions {
  Decibels peak{-30.0};  // dBFS
  bool allow_loud = false;
  Seconds burst{0.5};     // of a sweep over 20 Hz-20 kHz; a speaker's own band takes as much or less
  Seconds pause{0.4};     // after each burst
  Seconds lead_in{0.15};  // silence first
};

/// Two short bursts on one speaker's output, inside its band.
[[nodiscard]] Stimulus plan_line_burst(const Rig& rig, std::size_t speaker, const LineOptions& options);

/// Judges one output after another, as they are played in one session on one card.
class LineCheck {
 public:
  explicit LineCheck(const Rig& rig, unsigned threads = 0);

  /// What was heard of one speaker's bursts. Repeating a speaker replaces what was known of it.
  const SpeakerMeasurement& hear(std::size_t speaker, const Stimulus& stimulus, const Recording& recording);

  [[nodiscard]] bool checked(std::size_t speaker) const { return checked_[speaker]; }

  /// Everything that is wrong with what has been checked so far: silent outputs, speakers against each other.
  [[nodiscard]] PositionMeasurement judged() const;

 private:
  const Rig& rig_;
  unsigned threads_;
  std::vector<SpeakerMeasurement> speakers_;
  std::vector<bool> checked_;
  std::optional<double> lag_s_;  // from stimulus to recording, the same for all
  double rate_factor_ = 1.0;     // recorder's clock over the player's
};

}  // namespace ringtrue
