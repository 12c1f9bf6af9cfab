#pragma once

#include <span>
#include <vector>

#include "chart.hpp"
#include "ringtrue/calibration/calibration.hpp"
#include "ringtrue/response/measurement.hpp"

namespace ringtrue::page {

/// When each loudspeaker's sound arrives at the listening position, as cabled and with the delays entered.
[[nodiscard]] Chart arrival_chart(const Calibration& calibration);

/// How loud each loudspeaker is at the listening position, as cabled and with the trims entered.
[[nodiscard]] Chart level_chart(const Calibration& calibration);

/// The first milliseconds of one loudspeaker's impulse response at the listening position, largest value 1.
[[nodiscard]] Chart impulse_chart(const SpeakerResult& speaker, std::size_t index, const SpeakerMeasurement& measured);

/// Level of the same over time after the direct sound, so that early reflections stand out: largest value of each
/// 0.1 ms, dB against the loudest.
[[nodiscard]] Chart reflection_chart(const SpeakerResult& speaker, std::size_t index,
                                     const SpeakerMeasurement& measured);

}  // namespace ringtrue::page
