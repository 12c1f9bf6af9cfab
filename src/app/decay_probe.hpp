#pragma once

#include <functional>
#include <optional>

#include "ringtrue/capture/recording.hpp"
#include "ringtrue/core/units.hpp"
#include "ringtrue/rig/rig.hpp"
#include "ringtrue/stimulus/stimulus.hpp"

namespace ringtrue::app {

/// The two short sweeps of the first main alone (about 6 s) that tell how the room dies away.
[[nodiscard]] Stimulus decay_probe(const Rig& rig, const StimulusOptions& options);

/// What the room needs to die away, from one speaker alone, so that overlapping sweeps can be spaced for it: the first
/// main plays decay_probe, and a tenth is added to the reverberation time of its 500 Hz and 1 kHz
/// octaves.
/// @param take  plays a stimulus and returns what the microphone heard
/// @returns empty when the decay stands too little over the noise
[[nodiscard]] std::optional<Seconds> probe_decay(const Rig& rig, const StimulusOptions& options,
                                                 const std::function<Recording(const Stimulus&)>& take);

}  // namespace ringtrue::app
