#pragma once

#include "bass.hpp"

namespace ringtrue {

/// What the LFE channel needs at the subs' outputs, and noise at low frequencies: fills in `calibration.lfe_peak_dbfs`
/// and adds notes. Trims must be set.
void check_bass(const Rig& rig, Calibration& calibration);

}  // namespace ringtrue
