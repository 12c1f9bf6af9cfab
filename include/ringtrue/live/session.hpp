#pragma once

#include <cstdint>
#include <functional>
#include <optional>
#include <string>

#include "ringtrue/capture/card.hpp"
#include "ringtrue/core/finding.hpp"
#include "ringtrue/live/level_check.hpp"
#include "ringtrue/response/measurement.hpp"
#include "ringtrue/rig/rig.hpp"

namespace ringtrue {

/// A level check and the level it leads to.
struct CheckedLevel {
  LevelCheck check;
  Decibels peak{-60.0};  // for the sweeps, dBFS
  Findings findings;
};

/// Plays the level check, on other speakers where the first two are silent.
/// @param limit  dBFS peak; nothing louder is played
/// @throws DeviceError  with the reason, when nothing is heard: microphone or outputs muted, another program playing,
///                      the microphone overloaded by the quietest burst
/// @param must_hear  false: speakers that are all silent are no error, the level is the limit then
[[nodiscard]] CheckedLevel check_level(Card& card, const Rig& rig, Decibels limit, bool must_hear = true);

/// 85 dB(A) for eight hours a day is the limit at work of NIOSH 98-126.
inline constexpr double loud_dba = 85.0;

/// How loud a sweep of that peak would be at the microphone, dB(A), by the louder speaker of a level check. Empty where
/// the rig's microphone is not level-calibrated or heard nothing. The A weighting is taken at its most (+1.3 dB).
[[nodiscard]] std::optional<double> predicted_dba(const Rig& rig, const LevelCheck& check, double peak_dbfs);

/// Whether the microphone was moving while the bursts came: they differ in shape by more than -15 dB, as they do when
/// it moves a centimetre from one to the next.
[[nodiscard]] bool microphone_moves(const LevelCheck& check);

struct RecordOptions {
  MeasureOptions measure;
  std::function<void(const std::string&)> say;  // what is being done; may be empty
  std::function<void(const Recording&)> keep;   // called whenever there is a better recording; may be empty
  std::function<void(const Stimulus&, std::int64_t frame)> played;  // every few ms while it plays; may be empty
};

/// A mic position as recorded: every sweep at one lag, spoiled ones replaced by those played again.
struct RecordedPosition {
  Recording recording;
  PositionMeasurement measurement;
  Findings findings;  // about the device; those of the measurement are with it
};

/// Plays the stimulus, looks whether anything was lost or disturbed, and plays the spoiled speakers again, twice at
/// most. @param check  from just before, on the same card  @throws DeviceError
[[nodiscard]] RecordedPosition record_position(Card& card, const Rig& rig, const Stimulus& stimulus,
                                               const LevelCheck& check, const RecordOptions& options);

/// The longest level check of a rig, for opening the device.
[[nodiscard]] Stimulus longest_level_check(const Rig& rig, Decibels limit);

/// The longest that record_position may play again: every sweep, and one of them once more to tell the lag.
[[nodiscard]] Stimulus longest_repeat(const Stimulus& stimulus);

}  // namespace ringtrue
