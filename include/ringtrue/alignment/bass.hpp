#pragma once

#include <complex>
#include <cstddef>
#include <span>
#include <vector>

namespace ringtrue {

/// Transfer functions of one speaker at low frequencies: [mic position][frequency].
using BassResponses = std::vector<std::vector<std::complex<double>>>;

/// One main and the sub as they reach the microphone when the main plays through the bass management, over an octave
/// each side of this main's crossover. All positions share the frequencies, all speakers of a position its time line.
struct BassPair {
  double importance = 1.0;           // weight of this main among the mains
  std::vector<double> frequency_hz;  // ascending, > 0
  BassResponses main;                // with trim, polarity, delay and high-pass
  BassResponses sub;                 // with trim, the delay that lets it arrive with the mains, and this low-pass
  BassResponses sub_by_arrival;      // what every setting is compared with, where several subs have offsets; else empty
};

/// Which settings of the sub may be tried, against those that make it arrive with the mains.
struct BassSearch {
  double earliest_ms = 0.0;  // least shift, <= 0; the sub earlier is the mains later
  double latest_ms = 0.0;    // most shift, >= 0
  bool inverted = false;     // the sub's polarity by arrival and sign alone: what the others are compared with
  bool may_invert = true;    // the interface can switch it
};

/// Level of main and sub together in one band, averaged over mic positions. With w the share of a bin in the band on a
/// logarithmic frequency scale and p = |main + sub|^2:
struct BassLevel {
  double power_db = 0.0;  // 10 lg sum w p: the band's loudness
  double mean_db = 0.0;   // sum w 10 lg p: a notch counts as much as a peak
};

struct BassAlignment {
  double shift_ms = 0.0;  // to add to the sub's delay, or to take from the mains' when negative
  bool invert = false;
  BassLevel gain;                 // over arrival alone, average of the mains by importance
  std::vector<BassLevel> change;  // the same for each main
  double loss_db = 0.0;           // against the best that any allowed shift and polarity gives, the larger measure
};

/// What a main may lose against arrival alone; 1 dB is wanted, the rest is for errors of measuring.
inline constexpr double most_a_main_loses_db = 0.9;

/// Level of one pair for a shift and polarity of its sub.
[[nodiscard]] BassLevel bass_level(const BassPair& pair, double shift_ms, bool invert);

/// The shift and polarity of the sub for which it adds up best with all mains at all mic positions.
///
/// Best is where the larger of two losses is least: that of `power_db` against the highest that any allowed shift and
/// polarity gives, and that of `mean_db`. No main may lose more than 0.9 dB against arrival alone in either; where no
/// setting keeps that (several subs with offsets), the worst loses as little as any can make it. The whole
/// range is searched, in steps of a 64th of the crossover's period, because room modes make many local optima; of
/// those within 0.1 dB, the one nearest to arrival alone is taken: a sub that is a period off smears transients.
/// Constants were weighed on 80 simulated rooms (docs/bass.md).
///
/// @param pairs  not empty; every response as long as its frequencies, all with the same number of positions
[[nodiscard]] BassAlignment align_bass(std::span<const BassPair> pairs, const BassSearch& search);

}  // namespace ringtrue
