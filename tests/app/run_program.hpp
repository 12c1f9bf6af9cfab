#pragma once

#include <sys/wait.h>

#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <set>
#include <string>

#include "temporary_folder.hpp"

namespace ringtrue::test {

inline std::string content_of(const std::filesystem::path& path) {
  std::ifstream file{path, std::ios::binary};
  return {std::istreambuf_iterator<char>{file}, {}};
}

inline void write_file(const std::filesystem::path& path, const std::string& content) {
  std::ofstream{path, std::ios::binary} << content;
}

/// Every file and folder below a folder, so that a test can see that nothing was written.
inline std::set<std::string> everything_in(const std::filesystem::path& folder) {
  std::set<std::string> names;
  for (const auto& entry : std::filesystem::recursive_directory_iterator{folder}) {
    names.insert(entry.path().lexically_relative(folder).string());
  }
  return names;
}

struct Outcome {
  int status = -1;  // as the shell sees it
  std::string out;
  std::string error;
};

/// Runs the built program in a folder, as a shell would.
inline Outcome run_program(const std::filesystem::path& folder, const std::string& arguments) {
  const TemporaryFolder streams;
  const std::string out = (streams.path() / "out").string();
  const std::string error = (streams.path() / "error").string();
  const std::string command = "cd '" + folder.string() + "' && '" RINGTRUE_PROGRAM "' " + arguments + " >'" + out +
                              "' 2>'" + error + "' </dev/null";
  const int result = std::system(command.c_str());
  return {WIFEXITED(result) ? WEXITSTATUS(result) : -1, content_of(out), content_of(error)};
}

}  // namespace ringtrue::test
