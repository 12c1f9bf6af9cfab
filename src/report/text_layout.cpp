#include "ringtrue/report/text_layout.hpp"

#include <algorithm>
#include <array>

namespace ringtrue::text {
namespace {

struct Character {
  char32_t code = 0;
  std::size_t bytes = 1;
  bool valid = false;
};

/// The first character of non-empty text; a byte that starts no well-formed character is one of its own, not valid.
/// Source: Unicode 15, table 3-7 (overlong forms and surrogates are ill-formed).
Character first_character(std::string_view text) {
  const auto byte = [&](std::size_t i) { return static_cast<unsigned char>(text[i]); };
  if (byte(0) < 0x80) return {byte(0), 1, true};
  const std::size_t bytes = byte(0) >= 0xF0 ? 4 : byte(0) >= 0xE0 ? 3 : 2;
  if (byte(0) < 0xC2 || byte(0) > 0xF4 || text.size() < bytes) return {};
  char32_t code = byte(0) & (0x7FU >> bytes);
  for (std::size_t i = 1; i < bytes; ++i) {
    if ((byte(i) & 0xC0U) != 0x80U) return {};
    code = (code << 6U) | (byte(i) & 0x3FU);
  }
  constexpr std::array<char32_t, 5> lowest{0, 0, 0x80, 0x800, 0x10000};
  const bool well_formed = code >= lowest[bytes] && code <= 0x10FFFF && (code < 0xD800 || code > 0xDFFF);
  return well_formed ? Character{code, bytes, true} : Character{};
}

struct Range {
  char32_t first;
  char32_t last;
};

template <std::size_t N>
bool within(char32_t code, const std::array<Range, N>& ranges) {
  return std::ranges::any_of(ranges, [&](Range range) { return code >= range.first && code <= range.last; });
}

bool acts_on_terminal(char32_t code) {  // C0, delete and C1; line separators; direction marks and overrides
  return within(code,
                std::array<Range, 5>{{{0, 0x1F}, {0x7F, 0x9F}, {0x200B, 0x200F}, {0x2028, 0x202E}, {0x2066, 0x2069}}});
}

std::size_t columns_of(char32_t code) {  // the main blocks of Unicode's East Asian Width property
  if (within(code, std::array<Range, 1>{{{0x300, 0x36F}}})) return 0;
  const bool wide = within(code, std::array<Range, 8>{{{0x1100, 0x115F},
                                                       {0x2E80, 0xA4CF},
                                                       {0xAC00, 0xD7A3},
                                                       {0xF900, 0xFAFF},
                                                       {0xFE30, 0xFE6F},
                                                       {0xFF00, 0xFF60},
                                                       {0x1F300, 0x1FAFF},
                                                       {0x20000, 0x3FFFD}}});
  return wide ? 2 : 1;
}

/// The longest beginning of the text that fits.
std::string_view beginning(std::string_view text, std::size_t width) {
  std::size_t end = 0;
  for (std::size_t used = 0; end < text.size();) {
    const Character next = first_character(text.substr(end));
    used += columns_of(next.code);
    if (used > width) break;
    end += next.bytes;
  }
  return text.substr(0, end);
}

/// The part of the text that goes on one line; the rest stays in `text`.
std::string_view take_line(std::string_view& text, std::size_t width) {
  std::string_view line = beginning(text, width);
  if (line.size() < text.size() && text[line.size()] != ' ') {
    const auto space = line.rfind(' ');
    if (space != std::string_view::npos && space > 0) line = line.substr(0, space);
  }
  text.remove_prefix(line.size());
  text.remove_prefix(std::min(text.find_first_not_of(' '), text.size()));
  return line;
}

}  // namespace

std::string printable(std::string_view text) {
  std::string result;
  while (!text.empty()) {
    const Character next = first_character(text);
    result += next.valid && !acts_on_terminal(next.code) ? text.substr(0, next.bytes) : std::string_view{"?"};
    text.remove_prefix(next.bytes);
  }
  return result;
}

std::size_t columns(std::string_view text) {
  std::size_t sum = 0;
  while (!text.empty()) {
    const Character next = first_character(text);
    sum += columns_of(next.code);
    text.remove_prefix(next.bytes);
  }
  return sum;
}

std::string padded(std::string_view text, std::size_t width) {
  std::string result{text};
  if (columns(text) > width) result = std::string{beginning(text, width - 1)} + '~';
  return result + std::string(width - columns(result), ' ');
}

std::string wrapped(std::string_view text, std::string_view first_prefix, std::size_t width) {
  const std::size_t indent = columns(first_prefix);
  std::string result{first_prefix};
  do {
    if (result.size() > first_prefix.size()) result += std::string(indent, ' ');
    result += take_line(text, width - indent);
    result += '\n';
  } while (!text.empty());
  return result;
}

}  // namespace ringtrue::text
