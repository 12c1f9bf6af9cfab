#pragma once

namespace ringtrue {

/// Where the device process finds what it shares with the program.
inline constexpr int control_descriptor = 3;
inline constexpr int memory_descriptor = 4;

}  // namespace ringtrue
