#include "descriptor.hpp"

#include <fcntl.h>
#include <sys/stat.h>

#include <algorithm>
#include <cerrno>
#include <system_error>

#include "ringtrue/core/errors.hpp"

namespace ringtrue {
namespace {

[[noreturn]] void refuse_to_open(const std::filesystem::path& path, int error) {
  switch (error) {
    case ENOENT:
    case ENOTDIR: throw InvalidInput{shown_path(path), "there is no such file", "check the name and the folder"};
    case EACCES:
    case EPERM: throw InvalidInput{shown_path(path), "no permission to read it", "change its permissions or copy it"};
    default:
      throw InvalidInput{shown_path(path), "cannot be opened (" + std::generic_category().message(error) + ")",
                         "check the name and the disk"};
  }
}

}  // namespace

std::string shown_path(const std::filesystem::path& path) {
  std::string text = path.string();
  std::ranges::replace_if(
      text, [](char c) { return static_cast<unsigned char>(c) < 0x20 || c == 0x7f; }, '?');
  return text;
}

std::pair<Descriptor, std::int64_t> open_regular_file(const std::filesystem::path& path) {
  Descriptor file{::open(path.c_str(), O_RDONLY | O_CLOEXEC | O_NONBLOCK)};  // a pipe must not wait for its writer
  if (!file.open()) refuse_to_open(path, errno);
  struct stat facts {};
  if (::fstat(file.number(), &facts) != 0) refuse_to_open(path, errno);
  if (S_ISDIR(facts.st_mode)) throw InvalidInput{shown_path(path), "is a folder", "give the name of a file in it"};
  if (!S_ISREG(facts.st_mode)) {
    throw InvalidInput{shown_path(path), "is a device or a pipe, not a file", "save it to a file first"};
  }
  return {std::move(file), static_cast<std::int64_t>(facts.st_size)};
}

}  // namespace ringtrue
