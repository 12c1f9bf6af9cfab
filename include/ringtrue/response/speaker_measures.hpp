#pragma once

#include "ringtrue/response/band_decay.hpp"
#include "ringtrue/response/measurement.hpp"
#include "ringtrue/response/takes.hpp"

namespace ringtrue {

/// The measures of one speaker from its takes; arrival_ms counts from the takes' zero_index.
/// @param sweep_band  the whole band of its sweep  @param nominal_rate_hz  of the response that is kept
/// @param filters  for the length and rate of the takes
[[nodiscard]] SpeakerMeasurement measure_speaker(const Takes& takes, SpeakerKind kind, Band sweep_band,
                                                 double nominal_rate_hz, const BandFilters& filters);

}  // namespace ringtrue
