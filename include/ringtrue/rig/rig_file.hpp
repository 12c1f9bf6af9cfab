#pragma once

#include <filesystem>
#include <string>
#include <string_view>

#include "ringtrue/rig/rig.hpp"

namespace ringtrue {

/// Reads a rig from TOML text (docs/rig.md).
///
/// @param text  UTF-8 TOML, a byte-order mark is skipped
/// @param name  what errors call the text, usually the file's path
/// @throws InvalidInput  "name:LINE, key: what; remedy" for bad TOML, unknown or missing keys, wrong types, duplicate
///                       labels or outputs, and values outside what is possible
[[nodiscard]] Rig parse_rig(std::string_view text, const std::string& name);

/// Reads a rig file of at most 1 MiB. @throws InvalidInput as parse_rig, and when the file cannot be read
[[nodiscard]] Rig read_rig(const std::filesystem::path& path);

/// The rig as TOML with comments, which parse_rig reads back to an equal value.
[[nodiscard]] std::string format_rig(const Rig& rig);

}  // namespace ringtrue
