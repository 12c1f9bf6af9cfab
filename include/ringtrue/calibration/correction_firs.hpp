#pragma once

#include <cstddef>
#include <span>
#include <vector>

#include "ringtrue/calibration/calibration.hpp"
#include "ringtrue/correction/fir.hpp"
#include "ringtrue/response/measurement.hpp"

namespace ringtrue {

/// The finite impulse responses that make a calibration's corrections, one per speaker of the rig, all with the same
/// number of taps and the same delay; one unit sample where nothing is corrected. Load them in place of the filters:
/// delays, trims and levels stay as calibrated.
///
/// A calibration that was made for impulse responses (`correction->fir_taps`) gets those; any other the minimum-phase
/// responses of its filters.
/// @param taps       16 to 262144; for a calibration with filters
/// @param positions  what was measured: needed for mixed phase, without it the responses are minimum-phase
[[nodiscard]] std::vector<Fir> correction_firs(const Calibration& calibration, std::size_t taps,
                                               std::span<const PositionMeasurement> positions = {});

}  // namespace ringtrue
