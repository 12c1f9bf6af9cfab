#pragma once

#include <complex>

#include "ringtrue/capture/virtual_room.hpp"

namespace ringtrue {

/// Transfer function of a virtual loudspeaker at 1 m, gain and polarity included, travel time and extra delay not:
/// analogue prototypes, exact at every frequency (docs/virtual-room.md).
///
///     box      s^2 / (s^2 + sqrt2 s + 1), s = j f / band.low       2nd-order Butterworth high-pass
///     top      1 / (s^2 + sqrt2 s + 1), s = j f / band.high        2nd-order Butterworth low-pass; a sub: squared
///     two-way            (s^2 - sqrt2 s + 1) / (s^2 + sqrt2 s + 1), s = j f / crossover
///                        the sum of 4th-order low- and high-pass
///     two-way-inverting  (1 - s) / (1 + s)
///                        2nd-order low-pass minus high-pass: the tweeter's leads are crossed
///
/// Source of the crossovers: S. P. Lipshitz, J. Vanderkooy, "A family of linear-phase crossover networks of high
/// slope derived by time delay", J. Audio Eng. Soc. 31 (1983) 2-20, section 1 (the Linkwitz-Riley sums).
/// @param frequency_hz  >= 0
[[nodiscard]] std::complex<double> speaker_response(const VirtualSpeaker& speaker, double frequency_hz);

/// Sum of a Linkwitz-Riley low-pass and high-pass, both crossed over at `crossover_hz`; the high-pass times `sign`.
/// @param order  2 or 4
[[nodiscard]] std::complex<double> crossover_sum(double frequency_hz, double crossover_hz, int order, double sign);

/// True for the models above; false for anything else.
[[nodiscard]] bool is_speaker_model(const std::string& model);

}  // namespace ringtrue
