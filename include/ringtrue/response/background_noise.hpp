#pragma once

#include <array>
#include <cstddef>
#include <optional>
#include <span>
#include <vector>

#include "ringtrue/core/units.hpp"

namespace ringtrue {

/// Level of the noise in one octave band.
struct NoiseReading {
  double centre_hz = 1'000.0;  // exact mid-band
  double level_dbfs = 0.0;     // rms re an rms of 1.0
  friend bool operator==(const NoiseReading&, const NoiseReading&) = default;
};

/// Noise of what a microphone hears while nothing plays, in octaves of 31.5 Hz to 8 kHz, mean power of all stretches.
///
/// Hann-windowed periodograms, half overlapping, of 0.17 s (P. D. Welch, IEEE Trans. Audio Electroacoust. 15, 1967).
/// Segments that are digital silence are left out.
/// @param quiet  stretches of one recording without signal; those shorter than a segment are left out
/// @returns empty with fewer than three segments: too little to say
[[nodiscard]] std::vector<NoiseReading> background_noise(std::span<const std::span<const float>> quiet,
                                                         Hertz sample_rate);

/// Noise rating of a spectrum and the octave that sets it.
struct NoiseRating {
  double rating = 0.0;   // NR
  double band_hz = 0.0;  // nominal centre of the octave that touches the curve
  friend bool operator==(const NoiseRating&, const NoiseRating&) = default;
};

/// NR of octave levels: the largest (L - a) / b over 31.5 Hz to 8 kHz, L dB re 20 uPa. Source: ISO/R 1996:1971 and
/// AS 1469:1983 (coefficients as in the latter; a and b are 0 and 1 at 1 kHz).
/// @param full_scale_db_spl  sound pressure level at which the microphone's channel has an rms of 1.0
/// @returns empty without readings
[[nodiscard]] std::optional<NoiseRating> noise_rating(std::span<const NoiseReading> readings, double full_scale_db_spl);

/// Level of the NR curve in one of its nine octaves (0: 31.5 Hz, 8: 8 kHz), dB re 20 uPa.
[[nodiscard]] double noise_rating_curve_db(double rating, std::size_t octave);

}  // namespace ringtrue
