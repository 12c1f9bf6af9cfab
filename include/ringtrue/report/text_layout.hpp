#pragma once

#include <cstddef>
#include <string>
#include <string_view>

namespace ringtrue::text {

constexpr std::size_t page_columns = 80;

/// The text with everything a terminal would act on (control characters, direction marks) and every byte that is not
/// UTF-8 replaced by '?': labels and file names come from outside.
[[nodiscard]] std::string printable(std::string_view text);

/// Terminal columns that printable text takes: 2 for wide East Asian characters and pictographs, 0 for combining marks.
[[nodiscard]] std::size_t columns(std::string_view text);

/// Printable text filled with spaces to a width, or cut to it with '~' as its last character.
[[nodiscard]] std::string padded(std::string_view text, std::size_t width);

/// Lines of at most `width` columns, broken at spaces (inside a word only where the word alone is too long). The first
/// line starts with `first_prefix`, the others with as many spaces; every line ends with a newline.
[[nodiscard]] std::string wrapped(std::string_view text, std::string_view first_prefix = {},
                                  std::size_t width = page_columns);

}  // namespace ringtrue::text
