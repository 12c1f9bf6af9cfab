#include "console.hpp"

#include <algorithm>
#include <cstdint>
#include <cstdio>
#include <fstream>

#include "ringtrue/core/errors.hpp"
#include "ringtrue/report/text_layout.hpp"

namespace ringtrue::app {

void print_result(std::string_view result) {
  const bool written =
      std::fwrite(result.data(), 1, result.size(), stdout) == result.size() && std::fflush(stdout) == 0;
  if (!written) throw InvalidInput{"standard output", "the result cannot be written", "check the disk behind it"};
}

void print_error(const std::string& line) { std::fputs((text::printable(line) + '\n').c_str(), stderr); }

std::string read_text_file(const std::filesystem::path& path, std::size_t largest_bytes) {
  std::error_code error;
  const auto status = std::filesystem::status(path, error);
  if (std::filesystem::is_directory(status)) {
    throw InvalidInput{path.string(), "is a folder", "give the name of a file in it"};
  }
  if (!std::filesystem::exists(status)) throw InvalidInput{path.string(), "there is no such file", "check the name"};
  if (!std::filesystem::is_regular_file(status)) {
    throw InvalidInput{path.string(), "is a device or a pipe, not a file", "save it to a file first"};
  }
  const auto size = std::min<std::uintmax_t>(std::filesystem::file_size(path, error), largest_bytes) + 1;
  std::ifstream file{path, std::ios::binary};
  std::string content(size, '\0');
  file.read(content.data(), static_cast<std::streamsize>(content.size()));
  if (error || file.bad() || !(file.eof() || file.good())) {
    throw InvalidInput{path.string(), "the file cannot be read", "check its permissions"};
  }
  content.resize(static_cast<std::size_t>(file.gcount()));
  return content;
}

}  // namespace ringtrue::app
