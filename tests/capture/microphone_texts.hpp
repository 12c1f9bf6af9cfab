#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "refusal.hpp"
#include "ringtrue/capture/microphone_response_file.hpp"

namespace ringtrue::test {

/// What a text says of a microphone, or why it was refused.
struct Reading {
  std::optional<MicrophoneFile> file;
  std::string refusal;
};

[[nodiscard]] inline Reading reading_of(std::string_view text) {
  Reading reading;
  reading.refusal = refusal_of([&] { reading.file = parse_microphone_response(text, "mic.txt"); });
  return reading;
}

/// ASCII text as UTF-16, without a byte-order mark.
[[nodiscard]] inline std::string utf16(std::string_view text, bool big_endian) {
  std::string bytes;
  for (const char c : text) bytes += big_endian ? std::string{'\0', c} : std::string{c, '\0'};
  return bytes;
}

/// True when some note holds this text.
[[nodiscard]] inline bool notes(const MicrophoneFile& file, const std::string& part) {
  for (const Finding& note : file.notes) {
    if (has(note.message, part)) return true;
  }
  return false;
}

}  // namespace ringtrue::test
