#pragma once

#include <span>

#include "ringtrue/response/measurement.hpp"
#include "ringtrue/response/sweep_pair.hpp"
#include "ringtrue/response/synchronisation.hpp"
#include "ringtrue/response/take_choice.hpp"

namespace ringtrue {

/// What the computer does to the microphone's sound on its way into the recording: automatic gain, noise suppression,
/// a gate. Found by the level of equal sweeps, and by the level of the noise when the speakers play and when they do
/// not (docs/faults.md).
/// @param format_step  of the microphone's channel, SampleSurvey::least_magnitude: rounding to it is no noise
[[nodiscard]] Findings input_processing_findings(const Recording& recording, const Stimulus& stimulus,
                                                 std::span<const PairResponse> responses,
                                                 std::span<const TakeChoice> choices, const Synchronisation& sync,
                                                 double format_step);

}  // namespace ringtrue
