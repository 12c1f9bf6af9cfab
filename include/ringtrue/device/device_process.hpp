#pragma once

#include <string_view>

namespace ringtrue {

/// The word that makes the program a device process instead of reading a command line.
inline constexpr std::string_view device_process_word = "--device-process";

/// The device process: opens audio devices for the program that started it, which shares memory and a socket with it
/// (descriptors 3 and 4). Ends when told to, and by itself, silently, when that program is gone. Devices live in a
/// process of their own because the audio library may block for minutes or abort when its server dies.
/// @returns the exit status
[[nodiscard]] int run_device_process() noexcept;

}  // namespace ringtrue
