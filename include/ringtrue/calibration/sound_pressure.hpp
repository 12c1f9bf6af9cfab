#pragma once

#include <optional>

#include "ringtrue/calibration/calibration.hpp"

namespace ringtrue {

/// What turns a `PositionResult::level_db` (dB, microphone over output) into dB SPL: full scale of the microphone plus
/// the reference noise (reference_level.hpp). Empty: the rig was not level-calibrated, levels are relative.
[[nodiscard]] std::optional<double> spl_offset_db(const Rig& rig);

/// "dB SPL" or "dB": of `level_db` as it is shown and saved.
[[nodiscard]] const char* level_unit(const Rig& rig);

/// With a level-calibrated microphone: how loud the ring will be with its settings typed in, and what is suggested for
/// the room's volume, as a note `listening-level`.
void add_listening_level_note(Calibration& calibration);

}  // namespace ringtrue
