#pragma once

#include <optional>
#include <span>
#include <string>
#include <vector>

#include "ringtrue/calibration/calibration.hpp"
#include "ringtrue/response/measurement.hpp"

namespace ringtrue {

/// How far each value may be from what the sheet asks for. Sources and certainty: docs/verify.md. Where a measurement
/// is not that sure, four times its standard uncertainty is allowed instead.
struct VerifyTolerances {
  double delay_ms = 0.008;
  double level_db = 0.06;
  double response_db = 0.25;  // third octaves
  double bass_db = 1.0;       // main and sub together, an octave each side of the crossover
};

/// One value: how far off, how sure, how far it may be.
struct Judged {
  double error = 0.0;
  double uncertainty = 0.0;  // one standard deviation
  double limit = 0.0;
  [[nodiscard]] bool passed() const { return error <= limit && error >= -limit; }
};

/// What was probably typed in wrongly.
struct Suspicion {
  std::string value;  // "delay_ms", "trim_db", "invert", "equaliser[2].gain_db"; filters counted from 1
  double wanted = 0.0;
  double found = 0.0;           // as measured
  std::optional<double> typed;  // the slip of the hand that explains it
  std::string how;              // "one digit wrong"; empty: no slip explains it
};

enum class Verdict { pass, fail, not_judged };
[[nodiscard]] const char* name(Verdict verdict);  // "pass", "fail", "not judged"

struct SpeakerVerdict {
  std::string label;
  int output = 1;
  SpeakerKind kind = SpeakerKind::main;
  Verdict verdict = Verdict::not_judged;
  std::optional<Judged> delay_ms{};  // later than it should be, against the ring
  std::optional<Judged> level_db{};  // louder than it should be
  std::optional<bool> polarity_right{};
  std::optional<Judged> response_db{};  // the third octave that is furthest off
  double response_at_hz = 0.0;
  std::optional<Judged> bass_db{};  // a main with the sub
  std::vector<Suspicion> suspicions{};
};

/// What the interface's crossover did while this was measured.
enum class CrossoverState { none, off, mains_only, on };
[[nodiscard]] const char* name(CrossoverState state);

struct Verification {
  Rig rig;
  bool passed = false;
  VerifyTolerances tolerances;
  CrossoverState crossover = CrossoverState::none;
  bool responses_compared = false;       // false: only arrivals, levels and polarities could be
  std::vector<SpeakerVerdict> speakers;  // in the rig's order
  Findings findings;
};

/// Judges a ring with its settings typed in against what the calibration makes of its own measurement: arrival + delay,
/// level + trim, polarity, response through the equaliser, sub and mains together. What all speakers have in common
/// (latency, microphone gain) does not count. Pure.
///
/// @param against  with settings
/// @param before   the responses it was made from (first position); empty: response and sub are not judged closely
/// @param now      measured with settings active, first position
/// @throws InvalidInput  when nothing was measured, or the speakers are not those of the calibration
[[nodiscard]] Verification verify(const Calibration& against, const PositionMeasurement* before,
                                  const PositionMeasurement& now, const VerifyTolerances& tolerances = {});

/// Schema "ringtrue.verification/1" (docs/verify.md); ends with a newline.
[[nodiscard]] std::string format_verification(const Verification& verification);

}  // namespace ringtrue
