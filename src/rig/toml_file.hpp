#pragma once

#include <cstddef>
#include <filesystem>
#include <string>
#include <string_view>

namespace ringtrue {

inline constexpr std::size_t largest_toml_file = std::size_t{1} << 20U;  // bytes; a rig of 64 speakers takes 8 KiB

/// The text of a small file written by a person.
/// @param kind  what the file should be, for messages: "rig.toml"
/// @throws InvalidInput  when there is none, it may not be read, is a folder or device, or is over 1 MiB
[[nodiscard]] std::string read_toml_file(const std::filesystem::path& path, std::string_view kind);

/// @throws InvalidInput  when the text is over 1 MiB
void require_toml_size(std::string_view text, const std::string& name, std::string_view kind);

}  // namespace ringtrue
