#pragma once

#include <span>

#include "bass_responses.hpp"
#include "ringtrue/calibration/calibrate.hpp"

namespace ringtrue {

/// Fills in the equalisers (or the gains of impulse responses) of all speakers that have settings, and what is expected
/// of them. Their measured ends must be known (`band_ends`).
void set_equalisers(const Rig& rig, std::span<const PositionMeasurement> positions, const CorrectionOptions& options,
                    Calibration& calibration);

/// Takes the low-frequency responses through the equalisers (or impulse responses, their common delay left out).
void apply_equalisers(std::span<const PositionMeasurement> positions, const Calibration& calibration,
                      BassMeasurement& bass);

/// Level at the listening position through the equaliser, dB. @param speaker  with a measured level
[[nodiscard]] double equalised_level_db(const SpeakerResult& speaker);

}  // namespace ringtrue
