#pragma once

#include <vector>

#include "source.hpp"

namespace ringtrue::app {

/// Measures with an audio device: asks for the microphone to be moved, plays, records, keeps each finished take.
/// @throws DeviceError, InvalidInput, Stopped
[[nodiscard]] std::vector<PositionMeasurement> measure_live(const Rig& rig, const SourceOptions& options,
                                                            const MicrophoneResponse* microphone);

}  // namespace ringtrue::app
