#pragma once

#include <span>
#include <vector>

#include "ringtrue/correction/equaliser.hpp"
#include "ringtrue/correction/wanted_correction.hpp"

namespace ringtrue {

/// The fewest filters that bring speakers as near to what is wanted as the interface and restraint allow.
///
/// Minimised over all filters together, g the sum of a speaker's filters in dB, w the weights, mean with weights:
///
///     sum w (wanted - g - mean(wanted - g))^2  +  sum w (b max(0, g))^2  +  (c mean g)^2  +  limit penalty
///
/// The free mean leaves the level to the trim; b makes cuts do the work, c keeps them from becoming one broad cut that
/// costs headroom. Greedy placement: of all peaks (and shelves
/// at the ends) on a grid the one that lowers the sum most is added, then all are moved together by bounded
/// Levenberg-Marquardt steps (K. Levenberg, Quart. Appl. Math. 2 (1944); D. Marquardt, J. SIAM 11 (1963)), until
/// another would win too little or the bands are used up. Then filters that no longer earn their place are taken out,
/// all are rounded to the interface's steps, and single steps of any value are taken while they help.
///
/// Below the transition every speaker has its own filters, at most a Q of 8 (boosts 2); above it filters are broad
/// (Q at most 2) and all speakers of the call share them.
///
/// @param speakers       one, or a left-right pair; all on the same grid
/// @param transition     between a speaker's own filters and the shared ones
/// @returns              per speaker, ascending in frequency, at most `limits.bands`; the sum of the filters nowhere
///                       exceeds the upper end of the gain range
[[nodiscard]] std::vector<std::vector<Filter>> fit_equalisers(std::span<const WantedCorrection> speakers,
                                                              const EqualiserLimits& limits, Hertz transition);

}  // namespace ringtrue
