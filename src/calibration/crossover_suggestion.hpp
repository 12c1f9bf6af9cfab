#pragma once

#include "bass.hpp"
#include "ringtrue/calibration/calibration.hpp"

namespace ringtrue {

/// Tries the frequencies the interface offers (none given: 40 to 200 Hz in steps of 10 Hz), and the one that is set:
/// for the mains without a crossover of their own, and for each group of mains that have the same one of their own,
/// while the others keep theirs. Each trial gets its own best delay and polarity of the sub for all mains. Fills in
/// `calibration.crossover_suggestion` and adds notes. Trims must be set. Nothing happens without a group of subs.
/// @param offered_hz  ascending
void suggest_crossover(const Rig& rig, const BassMeasurement& bass, const SubwooferGroup& group,
                       std::span<const double> offered_hz, Calibration& calibration);

}  // namespace ringtrue
