#pragma once

#include <filesystem>
#include <span>

#include "ringtrue/correction/fir.hpp"
#include "ringtrue/rig/rig.hpp"

namespace ringtrue {

/// Writes one mono 32-bit float WAV per output into a folder, at the rig's sample rate, named like the speakers'
/// impulse responses. @param firs  one per speaker of the rig  @throws InvalidInput
void write_firs(const std::filesystem::path& folder, const Rig& rig, std::span<const Fir> firs);

}  // namespace ringtrue
