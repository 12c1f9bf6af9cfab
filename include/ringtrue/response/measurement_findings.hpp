#pragma once

#include <span>

#include "ringtrue/response/measurement.hpp"
#include "ringtrue/response/sweep_pair.hpp"
#include "ringtrue/response/synchronisation.hpp"
#include "ringtrue/response/take_choice.hpp"

namespace ringtrue {

/// What the recording itself suffered, in words: clipping, dropouts, noise events, missing takes, exchanged channels.
[[nodiscard]] Findings recording_findings(const Rig& rig, const Recording& recording, std::span<const SweepPair> pairs,
                                          std::span<const TakeChoice> choices, const RecordingFaults& faults,
                                          const Synchronisation& sync, bool channels_exchanged);

/// Throws the one line for a recording in which the sweeps are not found.
[[noreturn]] void refuse_foreign_recording(const Recording& recording, bool looked_in_loopback);

/// Throws the one line for a recording that holds sweeps where this stimulus has none.
[[noreturn]] void refuse_other_stimulus(const Recording& recording);

/// Throws when the responses are smeared over their whole window: another stimulus was played than the one given.
void refuse_if_smeared(const Recording& recording, std::span<const SweepPair> pairs,
                       std::span<const PairResponse> responses, unsigned threads);

}  // namespace ringtrue
