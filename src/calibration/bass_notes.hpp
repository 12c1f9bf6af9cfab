#pragma once

#include "bass.hpp"

namespace ringtrue {

/// Says how `calibration.bass_alignment` came about and what it wins.
void add_subwoofer_note(const SubwooferGroup& group, Calibration& calibration);

/// Says what the other polarity would win, which the interface cannot switch.
void add_phase_switch_note(double wins_db, Calibration& calibration);

}  // namespace ringtrue
