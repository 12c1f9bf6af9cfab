#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "ringtrue/core/units.hpp"

namespace ringtrue {

/// A straight slope in dB over log frequency, 0 dB at 1 kHz.
struct TargetTilt {
  double db_per_octave = 0.0;
  friend bool operator==(const TargetTilt&, const TargetTilt&) = default;
};

/// A low shelf: all of `gain_db` far below `frequency_hz`, half of it there, none far above; first order.
struct TargetShelf {
  double frequency_hz = 200.0;
  double gain_db = 0.0;
  friend bool operator==(const TargetShelf&, const TargetShelf&) = default;
};

/// Points joined by straight lines of dB over log frequency; beyond the ends the last value holds.
struct TargetPoints {
  std::vector<double> frequency_hz;  // ascending
  std::vector<double> gain_db;
  friend bool operator==(const TargetPoints&, const TargetPoints&) = default;
};

/// The response all speakers are brought to, before each one's own ends. Flat when nothing is set; parts add up.
struct TargetCurve {
  std::string name = "flat";  // for people
  std::optional<TargetTilt> tilt{};
  std::optional<TargetShelf> shelf{};
  std::optional<TargetPoints> points{};
  friend bool operator==(const TargetCurve&, const TargetCurve&) = default;
};

/// The curve's gain at a frequency, dB.
[[nodiscard]] double target_db(const TargetCurve& curve, double frequency_hz);

/// A curve from words: "flat", "tilt=-0.8" (dB per octave), "shelf=120:+4" (Hz, dB), or "tilt=-0.8,shelf=120:+4".
/// @returns empty when the text is none of these: then it may be a file's name
/// @throws InvalidInput  when it begins like one of these and does not go on like it
[[nodiscard]] std::optional<TargetCurve> parse_target(std::string_view text);

/// Where a speaker leaves the curve by its own nature, and how: the target falls off with it.
struct NaturalEnds {
  double low_hz = 20.0;    // 3 dB down; 0: reaches down further than is corrected
  double low_order = 2.0;  // 6 dB per octave each, as a Butterworth high-pass
  double high_hz = 0.0;    // 3 dB down, subs only; 0: no end
  double high_order = 4.0;
  double treble_db_per_octave = 0.0;  // slope above `treble_from_hz`, <= 0
  double treble_from_hz = 2'000.0;
};

/// Level of the low end alone, dB, 0 in the middle of the band.
[[nodiscard]] double low_end_db(const NaturalEnds& ends, double frequency_hz);

/// Level of the ends alone, dB, 0 in the middle of the band.
[[nodiscard]] double natural_ends_db(const NaturalEnds& ends, double frequency_hz);

}  // namespace ringtrue
