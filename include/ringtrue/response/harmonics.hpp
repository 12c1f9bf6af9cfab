#pragma once

#include <array>
#include <cstddef>
#include <optional>
#include <span>
#include <vector>

#include "ringtrue/core/units.hpp"
#include "ringtrue/response/takes.hpp"

namespace ringtrue {

/// Second and third harmonic of one third octave of the fundamental, dB re the fundamental at the microphone. Empty:
/// beyond what the sweep reaches, or less than 3 dB over the noise.
struct HarmonicReading {
  double frequency_hz = 1'000.0;                  // of the fundamental, IEC 61260-1 mid-band
  std::array<std::optional<double>, 2> level_db;  // order 2 and 3
  std::array<std::optional<double>, 2> noise_db;  // what the noise alone would pass for; empty: not reached
  friend bool operator==(const HarmonicReading&, const HarmonicReading&) = default;
};

/// When a sweep's harmonic of an order arrives ahead of its fundamental: L ln k (A. Novak, P. Lotton, L. Simon,
/// J. Audio Eng. Soc. 63(10), 2015).
[[nodiscard]] double harmonic_lead_s(Seconds rate_constant, int order);

/// How long before a response `early` must begin for its third harmonic.
[[nodiscard]] double harmonics_need_s(Seconds rate_constant);

/// Harmonic distortion of the speaker as the microphone hears it, by third octaves of the fundamental.
///
///     10 lg ( mean of |H_k(k f)|^2 - |N|^2  /  mean of |H_1(f)|^2 ),  means over log frequency
///
/// H_k is the response that stands L ln k early, H_1 the linear one, all through the same gate (20 ms before to at most
/// 0.2 s after each, ended before the next order begins); the noise is that of the takes. Dividing by the spectrum of
/// the sweep at k f makes an order's product of constant share a constant. The room's and speaker's own response at k f
/// against f is in the figure, as in the sound.
///
/// @param early  ends where `takes` begin; as long in both parts; shorter than `harmonics_need_s`: no readings
/// @param arrival_index  of the direct sound in `takes`
/// @param flat  where the sweep is flat
[[nodiscard]] std::vector<HarmonicReading> harmonic_readings(const Takes& takes, const Takes& early,
                                                             double arrival_index, Seconds rate_constant, Band flat);

/// What a loudspeaker's third harmonic is taken for where it cannot be told: 0.05 % of its fundamental, what good ones
/// have at the level of quiet music (common practice).
inline constexpr double supposed_third_harmonic = 5e-4;

/// Standard uncertainty of a level that compression with this third harmonic (re the fundamental) leaves, dB.
[[nodiscard]] double compression_uncertainty_db(double third_harmonic);

/// Standard uncertainty of a level that the loudspeaker's own compression leaves, dB, from the third harmonic.
///
/// y = x + b x^3 has a third harmonic d3 = b A^2 / 4 and a fundamental of 1 + 3 b A^2 / 4, so a level is off by up to
/// 20 lg (1 + 3 d3); sqrt(3) less for a value anywhere up to that (JCGM 100:2008, 4.3.7). d3 is the root of the mean
/// square over the band's third octaves; one that does not stand out of the noise counts as 3 dB over the noise, or
/// as what is supposed where that is less.
///
/// @param band  whose fundamentals count
/// @returns empty without any reading in the band
[[nodiscard]] std::optional<double> compression_uncertainty_db(std::span<const HarmonicReading> readings, Band band);

}  // namespace ringtrue
