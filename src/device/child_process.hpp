#pragma once

#include <sys/types.h>

#include <chrono>
#include <filesystem>
#include <optional>

#include "shared_memory.hpp"
#include "wire.hpp"

namespace ringtrue {

/// A device process, seen from the program that started it. Never waits longer than it says.
class ChildProcess {
 public:
  /// Starts `program` as device process. @param memory  to share; nullptr: none  @throws DeviceError
  ChildProcess(const std::filesystem::path& program, const SharedMemory* memory);
  ChildProcess(const ChildProcess&) = delete;
  ChildProcess& operator=(const ChildProcess&) = delete;
  ~ChildProcess();  // asks it to end, and ends it when it does not

  /// Sends a request and waits for its answer. @throws DeviceError, InvalidInput  what the process answered, or that it
  /// ended or kept silent
  [[nodiscard]] wire::Json ask(const wire::Json& request, std::chrono::milliseconds patience);

  [[nodiscard]] bool alive();

  /// At once, without asking: nothing that the audio library does can hold this up.
  void kill() noexcept;

 private:
  [[nodiscard]] bool ended_within(std::chrono::milliseconds patience) noexcept;

  int socket_ = -1;
  pid_t id_ = -1;
  std::optional<wire::Reader> reader_;
};

}  // namespace ringtrue
