#pragma once

#include <optional>

#include "chart.hpp"
#include "ringtrue/calibration/calibration.hpp"

namespace ringtrue::page {

/// Reverberation time over frequency, all loudspeakers and mic positions together; empty where nothing could be told.
[[nodiscard]] std::optional<Chart> decay_chart(const RoomResult& room);

/// Background noise at the listening position, in octaves.
[[nodiscard]] std::optional<Chart> noise_chart(const RoomResult& room);

/// One loudspeaker's second and third harmonic over frequency, and what noise alone would pass for.
[[nodiscard]] std::optional<Chart> harmonic_chart(const SpeakerResult& speaker, std::size_t index);

}  // namespace ringtrue::page
