#pragma once

#include "ringtrue/response/measurement.hpp"
#include "ringtrue/rig/rig.hpp"

namespace ringtrue {

/// Compares the mains with each other and adds what stands out to the findings: much quieter than its fellows
/// (`quiet-speaker`), no treble or no bass (`dull-speaker`, `thin-speaker`), bass only (`bass-only`, or
/// `swapped-outputs` with a sub that plays no bass), one output that plays two speakers (`shared-output`, a sub's too).
/// Those it names are no longer `trusted`. Responses must still lie on one time line.
/// @param threads  0: one per core
void compare_fellows(const Rig& rig, PositionMeasurement& measurement, unsigned threads = 1);

/// Widens the arrival's uncertainty of mains whose direct sound is dispersed otherwise than their fellows': a different
/// crossover delays the lower treble more, and a third of that difference is in the arrival too (all-pass group delay
/// falls with the square of the frequency: 0.35 for a Hann window over the upper 3.5 octaves).
void widen_for_dispersion(const Rig& rig, PositionMeasurement& measurement);

/// Adds `low-signal-to-noise` where an octave from 125 Hz to 8 kHz (a sub: 30-80 Hz) stands less than 15 dB over the
/// noise, with what it takes to mend it; one finding for all when most mains suffer.
void find_low_signal(const Rig& rig, PositionMeasurement& measurement);

}  // namespace ringtrue
