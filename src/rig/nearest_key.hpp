#pragma once

#include <span>
#include <string_view>

namespace ringtrue {

/// The known key that needs the fewest edits (letters added, dropped or changed) to become `key`; the first of equals.
/// @param known  not empty
[[nodiscard]] std::string_view nearest_key(std::string_view key, std::span<const std::string_view> known);

}  // namespace ringtrue
