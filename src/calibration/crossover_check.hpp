#pragma once

#include "ringtrue/calibration/calibration.hpp"

namespace ringtrue {

/// Notes where the crossover asks for what a speaker does not play in this room: a main that is 10 dB down at its own
/// crossover, or a sub that is 10 dB down there. Needs `measured.band_ends`.
void add_crossover_notes(const Rig& rig, Calibration& calibration);

}  // namespace ringtrue
