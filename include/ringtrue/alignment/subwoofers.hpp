#pragma once

#include <span>
#include <vector>

#include "ringtrue/alignment/bass.hpp"

namespace ringtrue {

/// What one of several subs gets on top of what makes it arrive with the others in its measured polarity.
struct SubwooferOffset {
  double shift_ms = 0.0;
  bool flip = false;     // switch the polarity once more
  double gain_db = 0.0;  // <= 0: quieter than the loudest of them
};

/// Mean spatial variance: over the frequencies, the mean of the variance over mic positions of the summed level.
///
///     mean over f of  variance over p of  20 lg |sum_k H_k,p(f)|      (dB^2; the variance divides by the count)
///
/// Source: T. Welti, A. Devantier, "Low-frequency optimization using multiple subwoofers", J. Audio Eng. Soc. 54(5),
/// 347-364 (2006) (abstract; the division by the count is ours).
/// @param sum  [mic position][frequency]
[[nodiscard]] double mean_spatial_variance_db2(const BassResponses& sum);

/// Responses of several subs that play the same signal, with their offsets.
[[nodiscard]] BassResponses sum_of(std::span<const BassResponses> subs, std::span<const SubwooferOffset> offsets,
                                   std::span<const double> frequency_hz);

/// Offsets that lower the variation of the bass over mic positions: against the first sub, shifts of up to 10 ms each
/// way in half milliseconds, both polarities, and gains of up to 6 dB either way in steps of 1.5 dB. One sub after
/// another until nothing improves, from each combination of polarities (more than four subs: from the first alone).
///
/// All this could lower the variation by making the subs cancel each other everywhere, so output counts too: the mean
/// level over the band may fall 2 dB below that of the subs arriving together (or of the sum of their powers, if that
/// is more: a sub whose measured polarity is wrong cancels the others), each dB more costs 4 dB^2; a change that wins
/// less than 0.1 dB^2 is not worth it. With one mic position there is no variation, and all arrive together at equal
/// level unless they would cancel.
///
/// @param subs          each arriving with the others, in its measured polarity, at equal level
/// @param frequency_hz  the band to judge, e.g. 20-80 Hz, evenly weighted
/// @param may_flip      the interface can switch polarities
/// @param free_loss_db  how far the mean level may fall at no cost; less keeps the subs closer to adding up
[[nodiscard]] std::vector<SubwooferOffset> even_out_subwoofers(std::span<const BassResponses> subs,
                                                               std::span<const double> frequency_hz, bool may_flip,
                                                               double free_loss_db = 2.0);

}  // namespace ringtrue
