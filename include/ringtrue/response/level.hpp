#pragma once

#include <optional>

#include "ringtrue/core/units.hpp"
#include "ringtrue/response/measurement.hpp"
#include "ringtrue/response/takes.hpp"

namespace ringtrue {

/// Steady-state level of pink noise in a band, from the takes of a response.
///
///     10 lg ( sum (|M|^2 - |N|^2) / f  /  sum 1 / f ),  over the bins of the band
///
/// M is the mean of the takes, N their noise; for two takes |M|^2 - |N|^2 is Re(H1 conj H2): no noise bias. dB re unity
/// gain from output to microphone (both full scale = 1).
struct BandLevel {
  Estimate level_db;
  double signal_to_noise_db = 0.0;  // signal over the noise left in the mean of the takes, same weighting
};

/// @param from, to  samples of the takes to use: the direct sound and its decay
/// @returns empty when the noise hides the signal (the sum is not positive)
[[nodiscard]] std::optional<BandLevel> pink_band_level(const Takes& takes, Band band, std::size_t from, std::size_t to);

}  // namespace ringtrue
