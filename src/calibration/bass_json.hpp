#pragma once

#include "json_numbers.hpp"
#include "json_reader.hpp"
#include "ringtrue/calibration/calibration.hpp"

namespace ringtrue::json {

/// The top-level "bass_management": the rig's, with "alignment" and "crossover_suggestion"; null without any.
[[nodiscard]] Object format_bass(const Calibration& calibration);

/// Fills in what `format_bass` adds to the rig's; calibrations from before it existed have nothing of it.
void read_bass(const Reader& reader, Calibration& calibration);

/// The top-level "lfe_only": an array of groups of subs.
[[nodiscard]] Object format_lfe_groups(const std::vector<LfeGroupResult>& groups);
[[nodiscard]] std::vector<LfeGroupResult> read_lfe_groups(const Reader& reader);

[[nodiscard]] Object format_band_ends(const BandEnds& ends);
[[nodiscard]] BandEnds read_band_ends(const Reader& reader);

[[nodiscard]] Object format_low_octaves(const std::vector<LowOctave>& octaves);
[[nodiscard]] std::vector<LowOctave> read_low_octaves(const Reader& reader);

}  // namespace ringtrue::json
