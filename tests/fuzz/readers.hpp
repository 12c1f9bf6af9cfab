#pragma once

#include <span>
#include <stdexcept>
#include <string_view>

namespace ringtrue::fuzz {

/// What a reader promised and did not keep; anything else that escapes `withstand` is a fault too.
struct BrokenPromise : std::logic_error {
  using std::logic_error::logic_error;
};

/// A reader of the program, given any bytes as if they were its file.
///
/// `withstand` returns false when the bytes were refused as they should be (InvalidInput, whose words stay on one
/// line), true when they were taken and what came of them holds what the reader's header says.
struct Reader {
  std::string_view name;  // also its folder under corpus/
  bool (*withstand)(std::string_view bytes);
};

/// Rig, virtual room, microphone response, calibration and sound file.
[[nodiscard]] std::span<const Reader> readers();

}  // namespace ringtrue::fuzz
