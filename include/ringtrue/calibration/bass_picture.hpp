#pragma once

#include <string>
#include <vector>

namespace ringtrue {

/// What each main and the sub do together around the crossover, before and after, for drawing.
///
/// Levels are powers averaged over the mic positions and over twelfths of an octave, through trim, polarity and
/// crossover, in dB against the common level of the mains in 500 Hz-2 kHz. "Before" is the sub aligned by its arrival
/// and measured polarity alone, "after" as the settings have it.
struct BassPicture {
  struct Main {
    std::string label;
    double crossover_hz = 80.0;
    // As many values as `frequency_hz` has.
    std::vector<double> main_db;    // this main alone
    std::vector<double> sub_db;     // the subs alone, through this main's low-pass
    std::vector<double> before_db;  // both
    std::vector<double> after_db;
    // Sub against main within a third of an octave at the crossover, all positions together, -180 to 180: 0 adds up
    // in full, 120 adds nothing when both are equal, 180 cancels.
    double phase_before_deg = 0.0;
    double phase_after_deg = 0.0;
    friend bool operator==(const Main&, const Main&) = default;
  };
  std::vector<double> frequency_hz;  // ascending
  std::vector<Main> mains;           // those that were aligned, in the rig's order
  friend bool operator==(const BassPicture&, const BassPicture&) = default;
};

}  // namespace ringtrue
