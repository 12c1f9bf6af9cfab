#include "short_arrays.hpp"

#include <algorithm>
#include <cstddef>

namespace ringtrue::json {
namespace {

constexpr std::ptrdiff_t most_commas_kept = 7;

/// Length of the string literal that begins at `start`, both quotes included.
std::size_t literal_length(std::string_view text, std::size_t start) {
  std::size_t end = start + 1;
  while (end < text.size() && text[end] != '"') end += text[end] == '\\' ? 2U : 1U;
  return std::min(end + 1, text.size()) - start;
}

}  // namespace

std::string with_short_arrays(std::string_view text) {
  std::string result;
  result.reserve(text.size());
  for (std::size_t i = 0; i < text.size();) {
    if (text[i] == '"') {
      const std::size_t length = literal_length(text, i);
      result += text.substr(i, length);
      i += length;
      continue;
    }
    const std::size_t end = text[i] == '[' ? text.find_first_not_of("0123456789+-.eE, \n", i + 1) : text.npos;
    const bool numbers = end != text.npos && text[end] == ']';
    const auto inside = numbers ? text.substr(i + 1, end - i - 1) : std::string_view{};
    if (std::ranges::count(inside, ',') <= most_commas_kept) {
      result += text[i++];
      continue;
    }
    result += '[';
    for (const char c : inside) {
      if (c != ' ' && c != '\n') result += c;
      if (c == ',') result += ' ';
    }
    result += ']';
    i = end + 1;
  }
  return result;
}

}  // namespace ringtrue::json
