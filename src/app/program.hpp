#pragma once

namespace ringtrue::app {

/// Exit status of the program, as in the outward contract; 130 as usual after ctrl-C.
enum ExitStatus : int { done = 0, needs_eyes = 1, bad_input = 2, device_failed = 3, stopped = 130 };

/// Reads the command line, runs the command and turns every error into one line on stderr and an exit status.
[[nodiscard]] int run_program(int argc, const char* const* argv) noexcept;

}  // namespace ringtrue::app
