#pragma once

#include "bass.hpp"
#include "ringtrue/calibration/calibration.hpp"

namespace ringtrue {

/// Tries 40 to 200 Hz in steps of 10 Hz, one frequency for all mains, each with its own best delay and polarity of the
/// sub, fills in `calibration.crossover_suggestion` and adds a note. Trims must be set. Nothing happens without a
/// group.
void suggest_crossover(const Rig& rig, const BassMeasurement& bass, const SubwooferGroup& group,
                       Calibration& calibration);

}  // namespace ringtrue
