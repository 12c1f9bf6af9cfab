#pragma once

#include <optional>
#include <span>
#include <string>
#include <vector>

#include "ringtrue/calibration/calibration.hpp"
#include "ringtrue/response/measurement.hpp"

namespace ringtrue {

/// One speaker then and now.
struct RecheckedSpeaker {
  std::string label;
  int output = 1;
  bool named = false;              // it was said to have moved
  bool measured = false;           // it was in the new recording and heard
  std::optional<double> later_ms;  // than then, against the references
  std::optional<double> uncertainty_ms;
  std::optional<double> further_m;  // the same as a distance from the listening position
  std::optional<Point> moved_m;     // where both places could be located
  std::optional<double> louder_db;
  bool inverted = false;  // against then
  bool drifted = false;   // not named, and yet not as it was
  Settings before;
  Settings after;
};

struct Recheck {
  Calibration calibration;                 // with new values where something was named, else as it was
  bool settings_active = false;            // the recording was made with the old settings typed in
  std::vector<RecheckedSpeaker> speakers;  // in the rig's order
  Findings findings;                       // of the check itself; with values renewed they are in the calibration too
  std::vector<PositionMeasurement> positions;  // responses to keep: the old ones, the named speakers' new
};

/// Measures again what was moved and changes as little as possible. The speakers that were not named are the
/// references: what they have in common (another start, latency or microphone gain) is taken out, so that the named
/// ones come into the time and level of the old measurement. Each named speaker then gets the delay that lets it arrive
/// with the others, the trim that makes it as loud, and a new polarity; a sub is aligned with the mains again. The
/// others keep their values, unless a named one cannot wait or play as asked: then all others move by the same step,
/// and a finding says why (docs/recheck.md). Pure.
///
/// @param before  the responses that were saved with the calibration, with their arrivals, levels and signs
/// @param now     per mic position, the first ones of the rig's
/// @param named   indices of the speakers that may have moved; none: only looks what has drifted
/// @param played  indices of the speakers that were played
/// @throws InvalidInput  when no reference was heard, or the saved responses are missing
[[nodiscard]] Recheck recheck(const Calibration& against, std::span<const PositionMeasurement> before,
                              std::span<const PositionMeasurement> now, std::span<const std::size_t> named,
                              std::span<const std::size_t> played);

/// Schema "ringtrue.recheck/1" (docs/recheck.md); ends with a newline.
[[nodiscard]] std::string format_recheck(const Recheck& recheck);

}  // namespace ringtrue
