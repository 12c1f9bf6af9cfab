#pragma once

#include <optional>
#include <span>
#include <vector>

#include "ringtrue/response/band_decay.hpp"
#include "ringtrue/response/deconvolution.hpp"
#include "ringtrue/response/measurement.hpp"
#include "ringtrue/response/synchronisation.hpp"
#include "ringtrue/response/takes.hpp"

namespace ringtrue {

/// The measures of one speaker from its takes; arrival_ms counts from the takes' zero_index.
/// @param sweep_band  the whole band of its sweep  @param nominal_rate_hz  of the response that is kept
/// @param filters  for the length and rate of the takes
[[nodiscard]] SpeakerMeasurement measure_speaker(const Takes& takes, SpeakerKind kind, Band sweep_band,
                                                 double nominal_rate_hz, const BandFilters& filters);

/// When the loopback arrives, after the same zeros; the median over the sweeps that reach 2 kHz. Empty when there is
/// none.
[[nodiscard]] std::optional<double> loopback_arrival_ms(const Stimulus& stimulus, std::span<const float> loopback,
                                                        const std::vector<Deconvolver>& deconvolvers,
                                                        const Synchronisation& sync, unsigned threads);

/// Share of a channel's response energy within 1 ms of its peak, median over the first sweeps: near 1 for a wire, well
/// below in a room. Empty when the channel is silent or no sweep reaches 2 kHz.
/// @param start_lag_s  of the sweeps in the channel, by find_start
[[nodiscard]] std::optional<double> electrical_share(const Stimulus& stimulus, std::span<const float> channel,
                                                     double rate_hz, double start_lag_s);

}  // namespace ringtrue
