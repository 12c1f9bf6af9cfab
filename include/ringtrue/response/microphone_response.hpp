#pragma once

#include <complex>
#include <optional>
#include <string>
#include <vector>

namespace ringtrue {

/// What a microphone's data sheet says of its sensitivity; kept, and never applied: levels are relative.
struct MicrophoneSensitivity {
  double value = 0.0;
  std::string unit;  // as written: "mV/Pa", "dB", ...
  friend bool operator==(const MicrophoneSensitivity&, const MicrophoneSensitivity&) = default;
};

/// How a microphone colours what it hears, as points of a curve. A flat microphone has 0 dB everywhere.
struct MicrophoneResponse {
  std::vector<double> frequencies_hz;  // > 0, strictly ascending, at least two
  std::vector<double> gains_db;        // as long
  std::vector<double> phases_deg;      // empty, or as long; may be wrapped
  std::optional<MicrophoneSensitivity> sensitivity;
};

/// The microphone's transfer function: the points joined by straight lines of dB and degrees over log frequency.
/// Beyond the ends the last value holds; without phases it is real and positive; no points: 1.
/// Between two points the phase takes the shorter way round, so wrapped phases serve.
///
/// @param frequency_hz  any, also 0
[[nodiscard]] std::complex<double> transfer_at(const MicrophoneResponse& microphone, double frequency_hz);

}  // namespace ringtrue
