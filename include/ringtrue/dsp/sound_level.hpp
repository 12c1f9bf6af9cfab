#pragma once

#include <span>
#include <vector>

#include "ringtrue/core/units.hpp"

namespace ringtrue {

enum class FrequencyWeighting { a, c, z };
enum class TimeWeighting { fast, slow };

/// Frequency weighting of a sound level meter, dB; 0 at 1 kHz.
///
///     C(f) = 20 lg( f4^2 f^2 / ((f^2 + f1^2)(f^2 + f4^2)) ) - C(1 kHz)
///     A(f) = 20 lg( f4^2 f^4 / ((f^2 + f1^2) sqrt(f^2 + f2^2) sqrt(f^2 + f3^2) (f^2 + f4^2)) ) - A(1 kHz)
///     Z(f) = 0
///
/// f1..f4 = 20.598997, 107.65265, 737.86223, 12194.217 Hz. Source: IEC 61672-1:2013, Annex E.
/// @param frequency_hz  > 0
[[nodiscard]] double weighting_db(FrequencyWeighting weighting, double frequency_hz);

/// The signal as the meter's filter hears it, zero phase, exact at every frequency below half the sample rate.
[[nodiscard]] std::vector<double> weighted(std::span<const float> signal, FrequencyWeighting weighting,
                                           Hertz sample_rate);

/// What the meter shows after each sample, dB re full scale 1.0 rms: the mean square with an exponential memory of
/// 125 ms (fast) or 1 s (slow), IEC 61672-1:2013, 5.8; it starts from silence.
[[nodiscard]] std::vector<double> time_weighted_db(std::span<const double> weighted_signal, TimeWeighting weighting,
                                                   Hertz sample_rate);

/// Level of the mean square over the whole, dB re 1.0 rms; -200 for silence.
[[nodiscard]] double equivalent_level_db(std::span<const double> weighted_signal);

}  // namespace ringtrue
