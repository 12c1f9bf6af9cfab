#include "toml_file.hpp"

#include <fmt/format.h>

#include <cerrno>
#include <cstring>
#include <fstream>
#include <system_error>

#include "ringtrue/core/errors.hpp"

namespace ringtrue {
namespace {

/// Refuses what is not a file before it is opened: opening a pipe could wait for ever.
void require_file(const std::filesystem::path& path, std::string_view kind) {
  std::error_code error;
  const auto status = std::filesystem::status(path, error);
  if (status.type() == std::filesystem::file_type::not_found) {
    throw InvalidInput{path.string(), "no such file", "check the path"};
  }
  if (error) throw InvalidInput{path.string(), error.message(), "check the path"};
  if (is_directory(status)) {
    throw InvalidInput{path.string(), "this is a folder", fmt::format("give the {} inside it", kind)};
  }
  if (!is_regular_file(status)) throw InvalidInput{path.string(), "this is not a file", fmt::format("give a {}", kind)};
}

}  // namespace

void require_toml_size(std::string_view text, const std::string& name, std::string_view kind) {
  if (text.size() > largest_toml_file) throw InvalidInput{name, "larger than 1 MiB", fmt::format("give a {}", kind)};
}

std::string read_toml_file(const std::filesystem::path& path, std::string_view kind) {
  require_file(path, kind);
  errno = 0;
  std::ifstream file{path, std::ios::binary};
  if (!file) throw InvalidInput{path.string(), std::strerror(errno), "check who may read it"};
  std::string text(largest_toml_file + 1, '\0');
  file.read(text.data(), static_cast<std::streamsize>(text.size()));
  if (file.bad()) throw InvalidInput{path.string(), "cannot be read", "copy it to another disk and try again"};
  text.resize(static_cast<std::size_t>(file.gcount()));
  require_toml_size(text, path.string(), kind);
  return text;
}

}  // namespace ringtrue
