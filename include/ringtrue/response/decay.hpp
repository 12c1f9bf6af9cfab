#pragma once

#include <optional>
#include <span>

#include "ringtrue/core/units.hpp"
#include "ringtrue/response/takes.hpp"

namespace ringtrue {

/// Reverberation time from the energy of a response: T30 where the range allows it, else T20, else none.
///
/// Backward integration (M. R. Schroeder, J. Acoust. Soc. Am. 37, 1965) with the noise power subtracted (W. T. Chu,
/// J. Acoust. Soc. Am. 63, 1978), stopped where the decay meets the noise, the missing tail added; least squares over
/// -5 to -35 dB (T30) or -5 to -25 dB (T20). ISO 3382-1 wants 45 and 35 dB between peak and noise.
///
/// @param squared      squared samples of the band-filtered response, from the direct sound on
/// @param noise_power  mean square of the noise, same filter
/// @param sample_rate  of `squared`
/// @returns seconds; empty when the range is too small or the curve does not fall
[[nodiscard]] std::optional<double> reverberation_time_s(std::span<const double> squared, double noise_power,
                                                         Hertz sample_rate);

/// Reverberation time of the 500 Hz and 1 kHz octaves together (354-1414 Hz).
[[nodiscard]] std::optional<double> mid_decay_time_s(const Takes& takes, double arrival_index, Band band);

}  // namespace ringtrue
