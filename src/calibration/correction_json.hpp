#pragma once

#include "json_numbers.hpp"
#include "json_reader.hpp"
#include "ringtrue/calibration/calibration.hpp"

namespace ringtrue::json {

/// `correction` of the whole calibration, and of one speaker; null where there is none. Earlier versions wrote neither.
[[nodiscard]] Object format_correction(const std::optional<CorrectionResult>& correction);
[[nodiscard]] Object format_correction(const std::optional<SpeakerCorrection>& correction);
[[nodiscard]] CorrectionResult read_correction(const Reader& reader);
/// @param positions  at most how many mic positions
[[nodiscard]] SpeakerCorrection read_speaker_correction(const Reader& reader, const CorrectionResult& common,
                                                        std::size_t positions);

}  // namespace ringtrue::json
