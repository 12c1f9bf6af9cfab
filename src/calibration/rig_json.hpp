#pragma once

#include "json_numbers.hpp"
#include "json_reader.hpp"
#include "ringtrue/rig/rig.hpp"

namespace ringtrue::json {

/// The rig with the keys of rig.toml, every default written out, every number exact.
[[nodiscard]] Object format_rig(const Rig& rig);

/// Reads it back. @throws InvalidInput
[[nodiscard]] Rig read_rig(const Reader& reader);

/// The interface's bass management, or null. @throws InvalidInput
[[nodiscard]] Object format_bass_management(const std::optional<BassManagement>& bass_management);

}  // namespace ringtrue::json
