#pragma once

#include "ringtrue/core/units.hpp"

namespace ringtrue::test {

/// The sample rate of a test that has no reason for another.
inline constexpr double rate_hz = 48'000.0;
inline constexpr Hertz rate{rate_hz};

}  // namespace ringtrue::test
