#pragma once

#include <string>
#include <string_view>

namespace ringtrue::html {

/// Text for HTML and SVG, in elements and in attributes between double quotes: what would be markup is escaped, what is
/// no printable UTF-8 becomes '?'.
[[nodiscard]] std::string escaped(std::string_view text);

}  // namespace ringtrue::html
