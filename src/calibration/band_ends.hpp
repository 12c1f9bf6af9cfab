#pragma once

#include <span>

#include "ringtrue/alignment/bass.hpp"
#include "ringtrue/calibration/calibration.hpp"

namespace ringtrue {

/// Where a speaker falls off at low (a sub: and at high) frequencies; see BandEnds.
/// @param responses     as measured; only frequencies at which the sweep was strong enough count
/// @param frequency_hz  evenly spaced, ascending
/// @param driven        the speaker's band_hz
[[nodiscard]] BandEnds band_ends(const BassResponses& responses, std::span<const double> frequency_hz, Band driven,
                                 SpeakerKind kind);

}  // namespace ringtrue
