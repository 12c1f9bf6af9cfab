#pragma once

#include <algorithm>
#include <string_view>

namespace ringtrue {

/// Of ASCII letters only, whatever the locale.
[[nodiscard]] constexpr char lower(char c) { return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c; }

[[nodiscard]] constexpr bool equal_but_for_capitals(std::string_view a, std::string_view b) {
  return std::ranges::equal(a, b, {}, lower, lower);
}

}  // namespace ringtrue
