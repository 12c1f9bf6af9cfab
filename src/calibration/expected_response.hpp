#pragma once

#include <span>
#include <vector>

#include "ringtrue/calibration/calibration.hpp"
#include "ringtrue/correction/response_to_correct.hpp"

namespace ringtrue {

/// Nominal centres of the third octaves in which responses are shown, 25 Hz to 12.5 kHz (IEC 61260-1:2014 Annex E).
[[nodiscard]] std::span<const double> shown_third_octaves_hz();

/// Levels of pink noise in those third octaves through filters, dB. @param gain_db  per cell; empty: none
[[nodiscard]] std::vector<double> third_octave_levels_db(const PowerCells& cells, std::span<const double> gain_db);

/// Standard deviation of level - target over the third octaves whose centres lie in [low, high].
[[nodiscard]] double deviation_db(std::span<const double> level_db, std::span<const double> target_db,
                                  const std::array<double, 2>& band_hz);

}  // namespace ringtrue
