#pragma once

#include <atomic>
#include <cstdint>
#include <stdexcept>

namespace ringtrue {

/// The user asked to stop (ctrl-C, or the terminal went away): the program ends, finished work stays.
struct Stopped : std::runtime_error {
  using std::runtime_error::runtime_error;
};

/// While it lives, SIGINT, SIGTERM and SIGHUP ask to stop instead of ending the program. One at a time.
class StopRequest {
 public:
  StopRequest();
  StopRequest(const StopRequest&) = delete;
  StopRequest& operator=(const StopRequest&) = delete;
  ~StopRequest();

  [[nodiscard]] static bool made() noexcept;

  /// What the signal sets to 1 at once, from inside the handler; nullptr: nothing.
  static void silence_with(std::atomic<std::uint32_t>* flag) noexcept;

  /// @throws Stopped  when the user asked to stop
  static void check();
};

}  // namespace ringtrue
