#pragma once

#include <span>
#include <vector>

#include "ringtrue/response/measurement.hpp"
#include "ringtrue/response/sample_survey.hpp"
#include "ringtrue/response/synchronisation.hpp"

namespace ringtrue {

/// What is heard while nothing plays, against the sound of the sweeps.
struct SteadyNoise {
  double mains_hz = 0.0;         // 50 or 60 where its multiples stand out of the noise; 0: no hum
  std::vector<double> lines_hz;  // the multiples that do, ascending
  double hum_db = -300.0;        // rms of all lines together, re the rms while sweeps play
  double rumble_db = -300.0;     // the rest from 10 to 100 Hz, where it is denser than the noise above it; the same
};

/// Looks for hum and rumble in the silence before each sweep: power spectra of 0.34 s (Hann), the median over all
/// stretches in each bin, so that a slam does not count. A line stands 10 dB over the median of the bins between it and
/// its neighbours. Rumble: the density from 15 to 100 Hz is 12 dB over that from 300 Hz to 1 kHz.
/// @param survey  of the microphone's samples
[[nodiscard]] SteadyNoise steady_noise(const Stimulus& stimulus, const Synchronisation& sync,
                                       std::span<const float> microphone, const SampleSurvey& survey);

/// Says it: `low-signal-to-noise` (warn) from -20 dB of hum or -8 dB of rumble on, below that notes `hum` from -40 dB
/// and `rumble` from -25 dB on; nothing below (working values).
void add_steady_noise(const SteadyNoise& noise, PositionMeasurement& measurement);

}  // namespace ringtrue
