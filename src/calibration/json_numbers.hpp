#pragma once

#include <cmath>
#include <nlohmann/json.hpp>
#include <optional>

namespace ringtrue::json {

using Object = nlohmann::ordered_json;  // keys stay in the order in which they were set

/// Rounds to `decimals` places, so that the shortest exact text has no digits without meaning; never -0.
/// While |value| 10^decimals < 10^15 both operands of the quotient are exact, so it is the double nearest to the
/// decimal.
[[nodiscard]] inline double rounded(double value, int decimals) {
  const double scale = std::pow(10.0, decimals);
  const double scaled = std::round(value * scale);
  if (std::abs(scaled) >= 1e15) return value;
  return scaled == 0.0 ? 0.0 : scaled / scale;
}

/// A rounded number, or null where there is none (JSON knows neither NaN nor infinity).
[[nodiscard]] inline Object number(std::optional<double> value, int decimals) {
  if (!value || !std::isfinite(*value)) return nullptr;
  return rounded(*value, decimals);
}

}  // namespace ringtrue::json
