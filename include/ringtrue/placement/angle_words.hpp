#pragma once

#include <string>

namespace ringtrue {

/// An angle to a tenth of a degree, without needless decimals and never "-0": "30", "22.5".
[[nodiscard]] std::string degrees(double angle_deg);

/// "100 to 120", or "30" where both bounds are equal.
[[nodiscard]] std::string degrees_between(double low_deg, double high_deg);

}  // namespace ringtrue
