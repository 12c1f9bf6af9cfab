#pragma once

#include <span>

#include "ringtrue/response/sweep_pair.hpp"
#include "ringtrue/response/synchronisation.hpp"
#include "ringtrue/response/take_choice.hpp"
#include "ringtrue/stimulus/stimulus.hpp"

namespace ringtrue {

/// Does the recording hold sweeps where this stimulus has none, or sweeps of another speed? Then another one was
/// played, of which some sweeps may happen to fit. Asked only when fewer than half of the speakers answer: one that is
/// off leaves no sweep anywhere, and noise is no sweep.
[[nodiscard]] bool holds_foreign_sweeps(const Stimulus& stimulus, std::span<const PairResponse> responses,
                                        std::span<const TakeChoice> choices, const Synchronisation& sync,
                                        std::span<const float> microphone, unsigned threads);

}  // namespace ringtrue
