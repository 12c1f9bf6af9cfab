#pragma once

#include <string>

#include "ringtrue/live/level_check.hpp"
#include "ringtrue/rig/rig.hpp"

namespace ringtrue::app {

/// With a level-calibrated microphone: asks before anything is played that would be louder than 85 dB(A) at it.
/// Nothing answers for the user, `--yes` neither; only `loud` (--loud) says yes beforehand.
/// @param what       that would be that loud, in the plural: "the sweeps"
/// @param peak_dbfs  of a sine that is as loud
/// @throws InvalidInput  when the user does not agree, or nobody is there to be asked
void consent_to_loudness(const Rig& rig, const LevelCheck& check, double peak_dbfs, bool loud, const std::string& what);

}  // namespace ringtrue::app
