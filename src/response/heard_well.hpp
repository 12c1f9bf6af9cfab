#pragma once

#include "ringtrue/response/measurement.hpp"

namespace ringtrue {

/// Loud enough over the noise for its bands to be compared with others'.
[[nodiscard]] inline bool is_heard_well(const SpeakerMeasurement& measured) {
  constexpr double needed_db = 15.0;  // leaves a level within 0.1 dB (docs/faults.md, low-signal-to-noise)
  return measured.heard && measured.signal_to_noise_db >= needed_db;
}

}  // namespace ringtrue
