#pragma once

#include <array>
#include <span>
#include <vector>

#include "ringtrue/correction/response_to_correct.hpp"

namespace ringtrue {

/// How far a correction may go.
struct Restraint {
  std::array<double, 2> gain_range_db{-12.0, 3.0};
  double transition_hz = 200.0;
  Band band{Hertz{20.0}, Hertz{20'000.0}};  // where to correct at all
  std::vector<double> low_end_db{};         // of target_db: the speaker's own low end, <= 0; empty: none
};

/// The gain that would bring a response to its target as far as restraint allows, on the response's grid. Only its
/// shape matters: a gain the same at all frequencies is the trim's business.
struct WantedCorrection {
  std::vector<double> frequency_hz;
  std::vector<double> gain_db;
  std::vector<double> weight;  // how much each frequency counts in a fit, >= 0; 0: not corrected
  double level_db = 0.0;       // of the response where the target has 0 dB
};

/// What to correct, and what to leave.
///
///     e = level - target - mean,  wanted = -e / (1 + (spread / r)^2)
///
/// The level is the mean of level - target where the target is within 3 dB of its middle, so that it divides peaks and
/// dips; r is 10 dB for peaks and 6 dB for dips: the more the positions differ, the less is done (methods of T. Welti,
/// A. Devantier, J. Audio Eng. Soc. 54(5) 2006 ask for that restraint; the two constants are ours). Dips narrower than
/// a quarter octave are closed first (the morphological closing of the curve), so they ask for nothing and count little.
/// A peak is cut to the target without the speaker's own low end. The gain stays in the range.
///
/// @param target_db  on the response's grid
[[nodiscard]] WantedCorrection wanted_correction(const ResponseToCorrect& response, std::span<const double> target_db,
                                                 const Restraint& restraint);

/// The curve with every dip narrower than `width` points filled to the lower of its rims: the running minimum of the
/// running maximum. Beyond the ends the curve goes on level.
[[nodiscard]] std::vector<double> close_dips(std::span<const double> curve, std::size_t width);

}  // namespace ringtrue
