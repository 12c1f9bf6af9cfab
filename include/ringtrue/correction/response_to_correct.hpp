#pragma once

#include <span>
#include <vector>

#include "ringtrue/core/units.hpp"

namespace ringtrue {

/// One speaker's impulse response at one mic position, as it comes from the measurement.
struct HeardResponse {
  std::span<const float> samples;
  double sample_rate_hz = 48'000.0;
  double arrival_index = 0.0;  // where the direct sound begins
  Band sweep_band{Hertz{50.0}, Hertz{20'000.0}};
};

/// The frequencies at which corrections are judged: 80 to the decade (24 to the octave), those of 10^(k/80) inside the
/// band.
[[nodiscard]] std::vector<double> correction_grid(Band band);

/// A response with what can be done about it, on `correction_grid`.
struct ResponseToCorrect {
  std::vector<double> frequency_hz;
  std::vector<double> level_db;   // power average over positions, the first counts 1.5 times
  std::vector<double> spread_db;  // standard deviation over positions of the level, each position's mean removed
};

/// The response an equaliser is fitted to: windowed, smoothed, averaged over mic positions.
///
/// The window keeps what comes before the arrival by 5 ms (60 ms below 150 Hz) and 60 cycles after it, so it shortens
/// as frequency rises, down to 80 ms (docs/correction.md; M. Karjalainen, T. Paatero, IEEE WASPAA 2001, from memory).
/// Shorter windows saw too little of what a steady sound brings to the ear in small rooms. The squared
/// magnitude is averaged over 1/12 octave up to half the transition, widening to 1/3 octave an octave above it and to
/// 2/3 octave at 8 kHz. The taper at the ends of the sweep is undone.
///
/// @param positions   at least one; the listening position first
/// @param band        inside which to answer
/// @param transition  below it modes, above it broad features
[[nodiscard]] ResponseToCorrect response_to_correct(std::span<const HeardResponse> positions, Band band,
                                                    Hertz transition);

/// Steady-state power of a response in cells of a 160th of a decade: cell k stands for 10^(k/160) to 10^((k+1)/160) Hz
/// (averaged over log frequency, like pink noise), from 10 Hz up to 20 kHz. Sixteen cells are a third octave of IEC
/// 61260-1 (base ten). The taper at the ends of the sweep is undone.
class PowerCells {
 public:
  static constexpr int first = 160;  // 10 Hz
  static constexpr int count = 520;  // to 17.8 kHz

  explicit PowerCells(const HeardResponse& response);
  /// A speaker that is not heard.
  PowerCells() : power_(static_cast<std::size_t>(count)) {}

  [[nodiscard]] static double centre_hz(int cell);
  /// All centres, ascending.
  [[nodiscard]] static std::vector<double> centres_hz();
  [[nodiscard]] std::span<const double> power() const { return power_; }

  /// Level of pink noise in a band through filters whose gain at each cell is `gain_db` (empty: none), dB.
  [[nodiscard]] double level_db(Band band, std::span<const double> gain_db = {}) const;

 private:
  std::vector<double> power_;
};

}  // namespace ringtrue
