#pragma once

#include <filesystem>
#include <string>
#include <vector>

namespace ringtrue::app {

struct OutputFile {
  std::filesystem::path path;
  std::string content;
};

/// Looks whether files may be written; writes nothing.
/// @throws InvalidInput  when one is in the way and `overwrite` is false, when two are the same file, and when a folder
///                       is missing or cannot be written to
void check_output_files(const std::vector<std::filesystem::path>& paths, bool overwrite);

/// Writes each file whole or not at all. When one cannot be written, new ones written before it are removed again.
/// @throws InvalidInput  when one cannot be written
void write_output_files(const std::vector<OutputFile>& files);

}  // namespace ringtrue::app
