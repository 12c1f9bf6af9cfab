#pragma once

#include <unistd.h>

#include <cstdint>
#include <filesystem>
#include <string>
#include <utility>

namespace ringtrue {

/// Owns a POSIX file descriptor.
class Descriptor {
 public:
  explicit Descriptor(int number = -1) : number_{number} {}
  Descriptor(Descriptor&& other) noexcept : number_{std::exchange(other.number_, -1)} {}
  Descriptor(const Descriptor&) = delete;
  Descriptor& operator=(const Descriptor&) = delete;
  Descriptor& operator=(Descriptor&& other) noexcept {
    std::swap(number_, other.number_);
    return *this;
  }
  ~Descriptor() {
    if (number_ >= 0) ::close(number_);
  }
  [[nodiscard]] bool open() const { return number_ >= 0; }
  [[nodiscard]] int number() const { return number_; }
  [[nodiscard]] int release() { return std::exchange(number_, -1); }

 private:
  int number_;
};

/// A path as it appears in a one-line message: control characters become '?'.
[[nodiscard]] std::string shown_path(const std::filesystem::path& path);

/// Opens a regular file for reading; a folder, a device or a pipe is refused, since reading one may never end.
/// @returns the descriptor and its size in bytes  @throws InvalidInput
[[nodiscard]] std::pair<Descriptor, std::int64_t> open_regular_file(const std::filesystem::path& path);

}  // namespace ringtrue
