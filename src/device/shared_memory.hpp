#pragma once

#include <cstddef>

namespace ringtrue {

/// Memory that a process shares with its child: a nameless file, mapped; zero at first.
class SharedMemory {
 public:
  explicit SharedMemory(std::size_t bytes);  ///< @throws DeviceError
  /// Maps what a parent handed over. @throws DeviceError
  static SharedMemory from_descriptor(int descriptor);
  SharedMemory(SharedMemory&& other) noexcept;
  SharedMemory(const SharedMemory&) = delete;
  SharedMemory& operator=(const SharedMemory&) = delete;
  SharedMemory& operator=(SharedMemory&&) = delete;
  ~SharedMemory();

  [[nodiscard]] void* data() const { return data_; }
  [[nodiscard]] int descriptor() const { return descriptor_; }

 private:
  SharedMemory(int descriptor, std::size_t bytes);

  int descriptor_;
  std::size_t bytes_;
  void* data_ = nullptr;
};

}  // namespace ringtrue
