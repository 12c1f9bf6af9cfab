#pragma once

#include "ringtrue/core/units.hpp"
#include "ringtrue/response/measurement.hpp"
#include "ringtrue/response/takes.hpp"

namespace ringtrue {

/// Which way a full-range speaker's woofer moves: the sign of the largest lobe of the response in 150 Hz-1.2 kHz
/// (zero phase) from 0.15 ms before to 0.35 ms after the arrival.
///
/// Below the crossover the woofer leads the sum, so a tweeter that is inverted on purpose does not matter; above its
/// box corner the woofer is within 60 degrees of its leads. `unsure` when the largest lobes of both signs lie within
/// 1.5 dB of each other, or the largest is not five times over the noise.
/// @param arrival_index  of the direct sound, in samples of the takes
/// @param band           where the sweep is flat
[[nodiscard]] WooferSign woofer_sign(const Takes& takes, double arrival_index, Band band);

}  // namespace ringtrue
