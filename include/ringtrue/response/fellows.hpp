#pragma once

#include "ringtrue/response/measurement.hpp"
#include "ringtrue/rig/rig.hpp"

namespace ringtrue {

/// Compares the mains with each other and adds what stands out to the findings: much quieter than its fellows
/// (`quiet-speaker`), no treble or no bass (`dull-speaker`, `thin-speaker`), bass only (`bass-only`, or `swapped-outputs`
/// with a sub that plays no bass), one output that plays two speakers (`shared-output`). Those it names are no longer
/// `trusted`. Responses must still lie on one time line.
void compare_fellows(const Rig& rig, PositionMeasurement& measurement);

}  // namespace ringtrue
