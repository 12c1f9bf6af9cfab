#pragma once

#include "ringtrue/calibration/calibration.hpp"
#include "ringtrue/response/measurement.hpp"

namespace ringtrue {

/// What would have been measured with these settings taken out of the interface: response, arrival, level and sign.
///
///     h = IFFT( FFT(h') / (gain E(f)) ),  E the equaliser at the interface's rate
///
/// The equaliser's own effect on the arrival is taken from a comparison of both responses.
[[nodiscard]] SpeakerMeasurement without_settings(SpeakerMeasurement measured, const Settings& settings,
                                                  const Speaker& speaker, double interface_rate_hz);

/// Pink-weighted level of a response in the band of level_db, dB.
[[nodiscard]] double response_level_db(const ImpulseResponse& response, SpeakerKind kind);

/// How many dB an equaliser adds to level_db of this response.
[[nodiscard]] double equaliser_effect_db(const ImpulseResponse& response, const std::vector<Filter>& equaliser,
                                         SpeakerKind kind, double interface_rate_hz);

}  // namespace ringtrue
