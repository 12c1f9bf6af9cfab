#pragma once

#include <optional>
#include <span>
#include <string>

namespace ringtrue {

/// A value of another output that could have been typed into this one's field.
struct OtherValue {
  std::string label;
  double value = 0.0;
};

/// A value that was to be typed in, and what the measurement says was typed in instead.
struct MistypeQuestion {
  double wanted = 0.0;
  double found = 0.0;
  double tolerance = 0.01;               // of `found`
  int decimals = 2;                      // as shown on the sheet
  std::span<const OtherValue> others{};  // same value of the other outputs; a left-right partner first
  double samples_per_unit = 0.0;         // of a delay: its number in samples is this times its number in ms; 0: none
  double metres_per_unit = 0.0;          // of a delay: likewise in metres
};

/// The likeliest slip of a hand, and what it made of the value.
struct Mistype {
  double typed = 0.0;
  std::string how;  // "two digits exchanged", "decimal point moved", "left out", "the value of Rss", ...
};

/// Tries what goes wrong when numbers are copied by hand: nothing typed, a sign, a decimal point moved by one or two
/// places, two neighbouring digits exchanged, a digit wrong, left out or twice, another output's value, a delay typed
/// in the unit of another field. The commonest slip that explains `found` within the tolerance wins; how common each
/// is, is a judgement. Empty when none does.
[[nodiscard]] std::optional<Mistype> guess_mistype(const MistypeQuestion& question);

}  // namespace ringtrue
