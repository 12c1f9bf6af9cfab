#pragma once

#include <optional>
#include <string>
#include <string_view>

namespace ringtrue {

/// Why a text must not reach the TOML parser, and on which line.
struct TextFault {
  int line = 1;
  std::string what;
  std::string remedy;
};

/// The first byte that is not UTF-8 (RFC 3629), or a NUL.
[[nodiscard]] std::optional<TextFault> find_encoding_fault(std::string_view text);

/// The first place the TOML parser would not survive:
/// - more than 16 open brackets or a key of more than 8 dots: the parser and its values recurse once per level, so
///   deep text could exhaust the stack;
/// - what toml++ 3.3 meets with undefined behaviour (found by fuzzing): a table header that does not begin with a key
///   ("[&"), a letter beyond ASCII outside strings and comments or after a backslash, a quote inside a bare word (which
///   would hide such letters from this search). All but a letter after a backslash and a line end are not TOML either.
[[nodiscard]] std::optional<TextFault> find_structure_fault(std::string_view text);

}  // namespace ringtrue
