#pragma once

#include <optional>
#include <string>
#include <vector>

#include "ringtrue/core/finding.hpp"
#include "ringtrue/core/geometry.hpp"
#include "ringtrue/rig/rig.hpp"

namespace ringtrue {

enum class Status { ok, silent, unreliable };
enum class Polarity { normal, inverted, unsure };
enum class TimeReference { loopback, earliest_arrival };
enum class FilterShape { peak, low_shelf, high_shelf };

[[nodiscard]] const char* name(Status status);
[[nodiscard]] const char* name(Polarity polarity);
[[nodiscard]] const char* name(TimeReference reference);  // "loopback", "earliest arrival"
[[nodiscard]] const char* name(FilterShape shape);

/// What was measured of one speaker at one mic position; empty where there is no answer.
struct PositionResult {
  std::optional<double> arrival_ms;              // after the time reference
  std::optional<double> arrival_uncertainty_ms;  // one standard deviation
  std::optional<double> distance_m;              // only with an absolute time
  std::optional<double> level_db;                // contract's definition, relative or SPL
  std::optional<double> level_uncertainty_db;    // one standard deviation
  std::optional<double> signal_to_noise_db;      // in the band of level_db
  std::optional<double> decay_time_s;            // 500 Hz and 1 kHz octaves together
  friend bool operator==(const PositionResult&, const PositionResult&) = default;
};

struct MeasuredSpeaker {
  Polarity polarity = Polarity::unsure;
  std::optional<Point> position_m;  // when it could be located
  std::vector<PositionResult> positions;
  friend bool operator==(const MeasuredSpeaker&, const MeasuredSpeaker&) = default;
};

/// One section of the interface's equaliser, W3C Audio EQ Cookbook, shelves with Q.
struct Filter {
  FilterShape shape = FilterShape::peak;
  double frequency_hz = 1'000.0;
  double gain_db = 0.0;
  double q = 1.0;
  friend bool operator==(const Filter&, const Filter&) = default;
};

/// What to type in for one output, rounded to the interface's steps and inside its ranges.
/// Empty where the speaker is silent or unreliable: nothing is guessed.
struct Settings {
  std::optional<double> delay_ms;
  std::optional<double> trim_db;
  bool invert = false;
  std::vector<Filter> equaliser;
  friend bool operator==(const Settings&, const Settings&) = default;
};

struct SpeakerResult {
  std::string label;
  int output = 1;
  SpeakerKind kind = SpeakerKind::main;
  Status status = Status::ok;
  MeasuredSpeaker measured;
  Settings settings;
  friend bool operator==(const SpeakerResult&, const SpeakerResult&) = default;
};

/// The result of `calibrate`, schema "ringtrue.calibration/1".
struct Calibration {
  Rig rig;
  TimeReference time_reference = TimeReference::earliest_arrival;
  std::vector<SpeakerResult> speakers;  // in the rig's order
  Findings findings;
  friend bool operator==(const Calibration&, const Calibration&) = default;
};

/// True when a finding of severity stop or warn needs the user's eyes (exit status 1).
[[nodiscard]] bool needs_attention(const Findings& findings);

}  // namespace ringtrue
