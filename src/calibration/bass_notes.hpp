#pragma once

#include "bass.hpp"

namespace ringtrue {

/// Says how `calibration.bass_alignment` came about and what it wins.
void add_subwoofer_note(const SubwooferGroup& group, Calibration& calibration);

/// Says what was done with the last of `calibration.lfe_groups`, several subs that play the LFE together.
void add_lfe_group_note(const SubwooferGroup& group, Calibration& calibration);

/// Says what the other polarity would win, which the interface cannot switch.
void add_phase_switch_note(double wins_db, Calibration& calibration);

}  // namespace ringtrue
