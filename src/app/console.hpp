#pragma once

#include <cstddef>
#include <filesystem>
#include <string>
#include <string_view>

namespace ringtrue::app {

/// Results go to standard output. @throws InvalidInput  when it cannot take them (a full disk behind it)
void print_result(std::string_view result);

/// One line on stderr; whatever would break or redraw the line becomes '?'.
void print_error(const std::string& line);

/// A text file of at most `largest_bytes`. @throws InvalidInput
[[nodiscard]] std::string read_text_file(const std::filesystem::path& path, std::size_t largest_bytes);

}  // namespace ringtrue::app
