#pragma once

#include <filesystem>
#include <fstream>
#include <iterator>
#include <string>

#include "ringtrue/core/errors.hpp"

namespace ringtrue::test {

/// What the InvalidInput thrown by `work` says; empty when nothing is thrown.
template <class Work>
[[nodiscard]] std::string refusal_of(const Work& work) {
  try {
    work();
    return {};
  } catch (const InvalidInput& error) {
    return error.what();
  }
}

[[nodiscard]] inline bool has(const std::string& text, const std::string& part) {
  return text.find(part) != std::string::npos;
}

inline void write_bytes(const std::filesystem::path& path, const std::string& bytes) {
  std::ofstream{path, std::ios::binary} << bytes;
}

[[nodiscard]] inline std::string read_bytes(const std::filesystem::path& path) {
  std::ifstream file{path, std::ios::binary};
  return {std::istreambuf_iterator<char>{file}, {}};
}

}  // namespace ringtrue::test
