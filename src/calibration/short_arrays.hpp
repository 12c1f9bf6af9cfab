#pragma once

#include <string>
#include <string_view>

namespace ringtrue::json {

/// Indented JSON text with every array of more than eight plain numbers on one line: a curve of 50 points would
/// otherwise be 50 lines. Nothing else changes. @param text  valid JSON, indented
[[nodiscard]] std::string with_short_arrays(std::string_view text);

}  // namespace ringtrue::json
