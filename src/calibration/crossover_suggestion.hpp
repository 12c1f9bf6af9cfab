#pragma once

#include "bass.hpp"
#include "ringtrue/calibration/calibration.hpp"

namespace ringtrue {

/// Tries the frequencies the interface offers (none given: 40 to 200 Hz in steps of 10 Hz), and the rig's own, one for
/// all mains, each with its own best delay and polarity of the
/// sub, fills in `calibration.crossover_suggestion` and adds a note. Trims must be set. Nothing happens without a
/// group.
/// @param offered_hz  ascending
void suggest_crossover(const Rig& rig, const BassMeasurement& bass, const SubwooferGroup& group,
                       std::span<const double> offered_hz, Calibration& calibration);

}  // namespace ringtrue
