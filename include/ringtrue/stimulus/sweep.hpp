#pragma once

#include "ringtrue/core/units.hpp"
#include "ringtrue/stimulus/stimulus.hpp"

namespace ringtrue {

/// Synchronised exponential sweep with fades.
///
///     x[n] = a w(t) sin(2 pi f1 L exp(t / L)),  t = n / fs,  0 <= t <= T = L ln(f2 / f1),  f1 L whole
///
/// With f1 L whole the harmonic of order k is the same sweep L ln(k) early, phase included, and x starts at phase zero.
/// w rises and falls as a half cosine in time over `low_fade` and `high_fade` octaves of instantaneous frequency
/// inside the band: nothing outside [f1, f2] is driven, and no edge clicks or rings.
///
/// Source: A. Novak, P. Lotton, L. Simon, "Synchronized swept-sine: theory, application, and implementation",
/// J. Audio Eng. Soc. 63(10), 786-798 (2015).
///
/// @param band           f1 = low, f2 = high; 0 < f1 < f2 <= fs/2
/// @param rate_constant  L wanted, rounded so that f1 L is a whole number of at least 1
/// @param peak           amplitude a; full scale = 1
/// @throws InvalidInput  when a bound above is broken
[[nodiscard]] SweepShape synchronised_sweep(Band band, Seconds rate_constant, double peak, Hertz sample_rate);

/// The same sweep at exactly this L: sweeps of other bands that overlap in time share it to the last digit, so that
/// they never cross. It starts at any phase, at no amplitude. @throws InvalidInput  as above, or when L is not positive
[[nodiscard]] SweepShape sweep_at_rate(Band band, Seconds rate_constant, double peak, Hertz sample_rate);

}  // namespace ringtrue
