#pragma once

#include <array>
#include <complex>
#include <span>
#include <vector>

#include "ringtrue/alignment/bass.hpp"

namespace ringtrue {

/// |main + sub|^2 = still + Re(turning exp(i w shift)) for a sub that comes `shift` later.
struct BassBin {
  double rad_per_ms;
  double weight;  // share of the band
  double still;
  std::complex<double> turning;
};

/// One pair at one mic position.
using BassSeat = std::vector<BassBin>;

[[nodiscard]] std::vector<BassSeat> bass_seats(const BassPair& pair);
[[nodiscard]] std::vector<BassSeat> bass_seats(const BassPair& pair, const BassResponses& subs);  // instead of pair.sub

/// Levels of both polarities at once: [0] as it is, [1] inverted.
[[nodiscard]] std::array<BassLevel, 2> bass_levels(const std::vector<BassSeat>& seats, double shift_ms);

/// What a shift and polarity do against arrival alone.
struct BassTrial {
  double shift_ms = 0.0;
  bool invert = false;
  BassLevel gain;
  double worst_change_db = 0.0;  // the smaller of both measures, of the main that loses most
};

/// All mains and positions, ready for any shift.
class BassRing {
 public:
  BassRing(std::span<const BassPair> pairs, bool arrival_inverted);

  /// Both polarities, not inverted first.
  [[nodiscard]] std::array<BassTrial, 2> trials(double shift_ms) const;

  /// Against arrival alone, for each main.
  [[nodiscard]] std::vector<BassLevel> changes(double shift_ms, bool invert) const;

 private:
  std::vector<std::vector<BassSeat>> seats_;  // [main][position]
  std::vector<double> shares_;                // importance, in sum 1
  std::vector<BassLevel> arrival_;
};

}  // namespace ringtrue
