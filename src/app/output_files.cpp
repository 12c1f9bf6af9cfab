#include "output_files.hpp"

#include <unistd.h>

#include <system_error>

#include "ringtrue/capture/atomic_file.hpp"
#include "ringtrue/core/errors.hpp"

namespace ringtrue::app {
namespace {

namespace fs = std::filesystem;

fs::path tidy(const fs::path& path) {
  std::error_code error;
  const fs::path real = fs::weakly_canonical(fs::absolute(path), error);
  return error ? fs::absolute(path).lexically_normal() : real;
}

void require_folder(const fs::path& path) {
  const fs::path folder = fs::absolute(path).parent_path();
  std::error_code error;
  if (!path.has_filename() || fs::is_directory(path, error)) {
    throw InvalidInput{path.string(), "is a folder", "give the name of a file"};
  }
  if (!fs::is_directory(folder, error)) {
    throw InvalidInput{path.string(), "there is no folder " + folder.string(), "make it, or give another name"};
  }
  if (access(folder.c_str(), W_OK | X_OK) != 0) {
    throw InvalidInput{path.string(), folder.string() + " cannot be written to", "give a name in another folder"};
  }
}

}  // namespace

void check_output_files(const std::vector<fs::path>& paths, bool overwrite) {
  for (std::size_t i = 0; i < paths.size(); ++i) {
    require_folder(paths[i]);
    for (std::size_t j = 0; j < i; ++j) {
      if (tidy(paths[i]) != tidy(paths[j])) continue;
      throw InvalidInput{paths[i].string(), "would take two things", "give each a file of its own"};
    }
    std::error_code error;
    if (overwrite || !fs::exists(paths[i], error)) continue;
    throw InvalidInput{paths[i].string(), "exists already", "give another name, or --overwrite to replace it"};
  }
}

void write_output_files(const std::vector<OutputFile>& files) {
  std::vector<fs::path> fresh;
  try {
    for (const OutputFile& file : files) {
      const bool is_new = !fs::exists(file.path);
      write_text_atomically(file.path, file.content);
      if (is_new) fresh.push_back(file.path);
    }
  } catch (const std::exception&) {
    std::error_code ignored;
    for (const fs::path& path : fresh) fs::remove(path, ignored);
    throw;
  }
}

}  // namespace ringtrue::app
