#include "shared_memory.hpp"

#include <fcntl.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cstdlib>
#include <filesystem>
#include <string>
#include <utility>

#include "ringtrue/core/errors.hpp"

namespace ringtrue {
namespace {

[[noreturn]] void fail() {
  throw DeviceError{"recording", "there is no memory for it", "close other programs or record shorter sweeps"};
}

int nameless_file() {
#if defined(__linux__)
  return ::memfd_create("ringtrue", MFD_CLOEXEC);
#else
  std::string name = (std::filesystem::temp_directory_path() / "ringtrue-XXXXXX").string();
  const int descriptor = ::mkstemp(name.data());
  if (descriptor < 0) return descriptor;
  ::unlink(name.c_str());
  ::fcntl(descriptor, F_SETFD, FD_CLOEXEC);
  return descriptor;
#endif
}

}  // namespace

SharedMemory::SharedMemory(int descriptor, std::size_t bytes) : descriptor_{descriptor}, bytes_{bytes} {
#if defined(MAP_POPULATE)
  constexpr int flags = MAP_SHARED | MAP_POPULATE;  // no page is first touched in the audio callback
#else
  constexpr int flags = MAP_SHARED;
#endif
  void* const data = ::mmap(nullptr, bytes, PROT_READ | PROT_WRITE, flags, descriptor, 0);
  if (data == MAP_FAILED) {
    ::close(descriptor);
    fail();
  }
  data_ = data;
}

SharedMemory::SharedMemory(std::size_t bytes)
    : SharedMemory{[bytes] {
                     const int descriptor = nameless_file();
                     if (descriptor < 0) fail();
                     if (::ftruncate(descriptor, static_cast<off_t>(bytes)) != 0) {
                       ::close(descriptor);
                       fail();
                     }
                     return descriptor;
                   }(),
                   bytes} {}

SharedMemory SharedMemory::from_descriptor(int descriptor) {
  struct stat facts {};
  if (::fstat(descriptor, &facts) != 0 || facts.st_size <= 0) fail();
  return {descriptor, static_cast<std::size_t>(facts.st_size)};
}

SharedMemory::SharedMemory(SharedMemory&& other) noexcept
    : descriptor_{std::exchange(other.descriptor_, -1)},
      bytes_{other.bytes_},
      data_{std::exchange(other.data_, nullptr)} {}

SharedMemory::~SharedMemory() {
  if (data_ != nullptr) ::munmap(data_, bytes_);
  if (descriptor_ >= 0) ::close(descriptor_);
}

}  // namespace ringtrue
