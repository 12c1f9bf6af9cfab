#pragma once

#include <filesystem>
#include <string>
#include <string_view>

#include "ringtrue/core/finding.hpp"
#include "ringtrue/response/microphone_response.hpp"

namespace ringtrue {

/// A microphone's response as read, with what its user should know about it (severity `note`, code `mic-response`).
struct MicrophoneFile {
  MicrophoneResponse response;
  Findings notes;
};

/// Reads a microphone's response from the text file that came with it: columns of frequency in Hz, level in dB and
/// perhaps phase in degrees, in any of the usual shapes (docs/microphone-response.md). Pure.
///
/// @param bytes  the file as it is: UTF-8, UTF-16 or an 8-bit encoding; at most 4 MiB
/// @param name   what errors call it, usually the file's path
/// @throws InvalidInput  "name:LINE: what; remedy" for whatever cannot be read in one way only
[[nodiscard]] MicrophoneFile parse_microphone_response(std::string_view bytes, const std::string& name);

/// Reads a file. @throws InvalidInput as parse_microphone_response, and when the file cannot be read
[[nodiscard]] MicrophoneFile read_microphone_response(const std::filesystem::path& path);

}  // namespace ringtrue
