#pragma once

#include <optional>
#include <span>

#include "ringtrue/core/units.hpp"

namespace ringtrue {

/// What an exponential sweep's samples say about its law f(t) = f1 exp(t / L).
struct SweepLaw {
  Band band;              // f at the first and at the last sample
  Seconds rate_constant;  // L
};

/// Fits the law to the zero crossings: crossing k lies where the phase 2 pi f1 L exp(t/L) has grown by k half turns,
/// so k = A exp(t/L) - B with A = 2 f1 L. A and B follow by linear regression, L by a search for the least residual.
/// Fades and gains do not matter; only the stretch above a quarter of the peak is used.
///
/// @param samples  one sweep, upwards, without noise above its zero crossings
/// @returns nothing when the samples are no exponential sweep: the crossings then miss the law by more than half a
///          crossing (rms), or are fewer than 10. Measured error of L for sweeps of 20-200 Hz and more: below 0.02 %
[[nodiscard]] std::optional<SweepLaw> estimate_sweep_law(std::span<const double> samples, Hertz sample_rate);

}  // namespace ringtrue
