#pragma once

#include <string>
#include <string_view>

#include "ringtrue/calibration/calibration.hpp"

namespace ringtrue {

/// The calibration as JSON text of schema "ringtrue.calibration/1": keys in a fixed order, two-space indent, one
/// newline at the end; numbers in the shortest form that is exact to the digits that carry meaning
/// (docs/calibration.md).
[[nodiscard]] std::string format_calibration(const Calibration& calibration);

/// Reads it back. @throws InvalidInput  "name: what; remedy" (or with the JSON path) for anything that is not a
/// calibration of this schema: bad JSON, missing or mistyped keys, non-finite numbers, nesting beyond 64 levels
[[nodiscard]] Calibration parse_calibration(std::string_view text, const std::string& name);

}  // namespace ringtrue
