#pragma once

#include <span>
#include <vector>

#include "ringtrue/correction/fir.hpp"
#include "ringtrue/correction/wanted_correction.hpp"

namespace ringtrue {

/// The gains that finite impulse responses are to have, under the same restraint as parametric filters: what is wanted,
/// above the transition averaged over 2/3 octave and over the speakers of the call (the two of a pair); fading to 0 dB
/// over half an octave beyond what is corrected.
/// @param speakers  one, or a left-right pair; all on the same grid
[[nodiscard]] std::vector<GainCurve> fir_curves(std::span<const WantedCorrection> speakers, Hertz transition);

/// The curve times the largest factor up to 1 for which its minimum-phase filter stays below a gain everywhere.
[[nodiscard]] GainCurve bounded_curve(const GainCurve& curve, double most_db, std::size_t taps, Hertz sample_rate);

}  // namespace ringtrue
