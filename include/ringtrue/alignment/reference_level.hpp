#pragma once

#include <string>

namespace ringtrue {

/// Level of the pink noise that dB SPL of a speaker refers to: rms of its samples against 1.0. A meter that calls a
/// full-scale sine 0 dBFS (AES17) shows the same noise as -17.
inline constexpr double reference_noise_dbfs = -20.0;

/// What one speaker should give at the listening position with that noise, 500 Hz to 2 kHz, meter C slow.
struct ReferenceLevel {
  double spl_db = 0.0;
  std::string source;     // document and clause
  std::string certainty;  // how it is known
};

/// The reference level for a room of that volume.
///
/// Source: ATSC A/85:2013, Table 10.2, as quoted second-hand (docs/live.md).
[[nodiscard]] ReferenceLevel reference_level(double volume_m3);

}  // namespace ringtrue
