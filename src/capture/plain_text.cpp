#include "plain_text.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>

#include "ringtrue/core/errors.hpp"

namespace ringtrue::mic_file {
namespace {

using namespace std::string_view_literals;

constexpr char32_t replacement = 0xFFFD;
constexpr char32_t end_of_file = 0x1A;  // of DOS
constexpr char32_t dropped = 0;         // NUL itself is refused before it gets here

struct Kind {
  std::string_view beginning;
  const char* name;
};
constexpr std::array kinds{Kind{"PK\x03\x04"sv, "a spreadsheet or an archive"},
                           Kind{"\xD0\xCF\x11\xE0"sv, "a spreadsheet or a document"},
                           Kind{"%PDF"sv, "a PDF"},
                           Kind{"{\\rtf"sv, "a word processor's document"},
                           Kind{"\x89PNG"sv, "a picture"},
                           Kind{"\xFF\xD8\xFF"sv, "a picture"},
                           Kind{"GIF8"sv, "a picture"},
                           Kind{"\x1F\x8B"sv, "an archive"},
                           Kind{"RIFF"sv, "a sound file"},
                           Kind{"RF64"sv, "a sound file"},
                           Kind{"fLaC"sv, "a sound file"}};

void refuse_other_kinds(std::string_view bytes, const std::string& name) {
  const auto kind = std::ranges::find_if(kinds, [&](const Kind& k) { return bytes.starts_with(k.beginning); });
  if (kind == kinds.end()) return;
  throw InvalidInput{name, fmt::format("this is {}, not text", kind->name),
                     "give the text file that came with the microphone, or export it as CSV"};
}

std::uint32_t byte_at(std::string_view bytes, std::size_t i) { return static_cast<unsigned char>(bytes[i]); }

/// UTF-16 without a byte-order mark shows in the zero byte of every Latin letter: true: big-endian.
std::optional<bool> unmarked_utf16(std::string_view bytes) {
  const std::size_t pairs = std::min<std::size_t>(bytes.size() / 2, 100);
  if (pairs < 2) return std::nullopt;
  std::array<std::size_t, 2> zeros{};
  for (std::size_t i = 0; i < 2 * pairs; ++i) zeros[i % 2] += bytes[i] == '\0';
  if (zeros[0] == 0 && 10 * zeros[1] >= 9 * pairs) return false;
  if (zeros[1] == 0 && 10 * zeros[0] >= 9 * pairs) return true;
  return std::nullopt;
}

std::u32string from_utf16(std::string_view bytes, bool big_endian, const std::string& name) {
  if (bytes.size() % 2 != 0) {
    throw InvalidInput{name, "is UTF-16 text cut off in the middle of a character", "copy or download the file again"};
  }
  const auto unit = [&](std::size_t i) {
    const std::uint32_t a = byte_at(bytes, i);
    const std::uint32_t b = byte_at(bytes, i + 1);
    return big_endian ? a << 8U | b : b << 8U | a;
  };
  std::u32string text;
  for (std::size_t i = 0; i < bytes.size(); i += 2) {
    const std::uint32_t high = unit(i);
    const bool surrogate = high >= 0xD800 && high < 0xE000;
    const std::uint32_t low = high < 0xDC00 && i + 2 < bytes.size() ? unit(i + 2) : 0;
    if (surrogate && low >= 0xDC00 && low < 0xE000) {
      text += static_cast<char32_t>(0x10000 + ((high - 0xD800) << 10U) + (low - 0xDC00));
      i += 2;
    } else {
      text += surrogate ? replacement : static_cast<char32_t>(high);
    }
  }
  return text;
}

/// Length of a UTF-8 sequence by its first byte; 0: none begins with it.
std::size_t utf8_length(std::uint32_t first) {
  if (first < 0x80) return 1;
  if (first >= 0xC2 && first < 0xE0) return 2;
  if (first >= 0xE0 && first < 0xF0) return 3;
  return first >= 0xF0 && first < 0xF5 ? 4 : 0;
}

/// The character at i, or nothing where the bytes are not UTF-8 (RFC 3629).
std::optional<char32_t> utf8_character(std::string_view bytes, std::size_t i, std::size_t length) {
  constexpr std::array<std::uint32_t, 5> lead_mask{0, 0x7F, 0x1F, 0x0F, 0x07};
  constexpr std::array<std::uint32_t, 5> least{0, 0, 0x80, 0x800, 0x10000};
  if (length == 0 || i + length > bytes.size()) return std::nullopt;
  std::uint32_t code = byte_at(bytes, i) & lead_mask[length];
  for (std::size_t k = 1; k < length; ++k) {
    const std::uint32_t next = byte_at(bytes, i + k);
    if ((next & 0xC0U) != 0x80) return std::nullopt;
    code = code << 6U | (next & 0x3FU);
  }
  if (code < least[length] || code > 0x10FFFF || (code >= 0xD800 && code < 0xE000)) return std::nullopt;
  return static_cast<char32_t>(code);
}

std::optional<std::u32string> from_utf8(std::string_view bytes) {
  std::u32string text;
  text.reserve(bytes.size());
  for (std::size_t i = 0; i < bytes.size();) {
    const std::size_t length = utf8_length(byte_at(bytes, i));
    const auto character = utf8_character(bytes, i, length);
    if (!character) return std::nullopt;
    text += *character;
    i += length;
  }
  return text;
}

std::u32string from_windows_1252(std::string_view bytes) {
  std::u32string text;
  text.reserve(bytes.size());
  for (const char c : bytes) {
    const auto code = static_cast<char32_t>(static_cast<unsigned char>(c));
    const bool differs = code >= 0x80 && code < 0xA0;  // from ISO 8859-1; only these four matter here
    if (!differs) {
      text += code;
    } else {
      text += code == 0x93 || code == 0x94 ? U'"' : code == 0x96 ? U'\u2013' : code == 0x97 ? U'\u2014' : replacement;
    }
  }
  return text;
}

std::u32string decoded(std::string_view bytes, const std::string& name) {
  if (bytes.starts_with("\xFF\xFE")) return from_utf16(bytes.substr(2), false, name);
  if (bytes.starts_with("\xFE\xFF")) return from_utf16(bytes.substr(2), true, name);
  if (const auto big_endian = unmarked_utf16(bytes)) return from_utf16(bytes, *big_endian, name);
  if (auto text = from_utf8(bytes)) return *std::move(text);
  return from_windows_1252(bytes);
}

char32_t plain(char32_t c) {
  if (c < 0xA0) return c;
  if (c == 0x2212 || (c >= 0x2010 && c <= 0x2013) || c == 0xFE63 || c == 0xFF0D) return U'-';
  if (c == 0xFF0B) return U'+';
  if (c == 0xA0 || (c >= 0x2000 && c <= 0x200A) || c == 0x202F || c == 0x205F || c == 0x3000) return U' ';
  if (c == 0x2028 || c == 0x2029) return U'\n';
  if ((c >= 0x201C && c <= 0x201F) || c == 0xAB || c == 0xBB) return U'"';
  if ((c >= 0x200B && c <= 0x200F) || (c >= 0x202A && c <= 0x202E) || c == 0xFEFF) return dropped;
  return c;
}

bool is_control(char32_t c) { return c == 0x7F || (c < 0x20 && (c < U'\t' || c > U'\r')); }

void append_utf8(std::string& text, char32_t c) {
  const auto continuation = [&](unsigned shift) { text += static_cast<char>(0x80U | ((c >> shift) & 0x3FU)); };
  if (c < 0x80) {
    text += static_cast<char>(c);
  } else if (c < 0x800) {
    text += static_cast<char>(0xC0U | (c >> 6U));
    continuation(0);
  } else if (c < 0x10000) {
    text += static_cast<char>(0xE0U | (c >> 12U));
    continuation(6);
    continuation(0);
  } else {
    text += static_cast<char>(0xF0U | (c >> 18U));
    continuation(12);
    continuation(6);
    continuation(0);
  }
}

}  // namespace

std::string plain_text(std::string_view bytes, const std::string& name) {
  refuse_other_kinds(bytes, name);
  std::u32string characters = decoded(bytes, name);
  while (!characters.empty() && characters.back() == end_of_file) characters.pop_back();
  std::string text;
  text.reserve(bytes.size());
  for (const char32_t c : characters) {
    if (is_control(c)) {
      throw InvalidInput{fmt::format("{}:{}", name, lines_of(text + '.').size()),
                         fmt::format("byte {:#04x}, which is no text", static_cast<std::uint32_t>(c)),
                         "copy or download the file again"};
    }
    if (const char32_t meant = plain(c); meant != dropped) append_utf8(text, meant);
  }
  return text;
}

std::vector<std::string_view> lines_of(std::string_view text) {
  std::vector<std::string_view> lines;
  while (!text.empty()) {
    const std::size_t end = std::min(text.find_first_of("\r\n"), text.size());
    lines.push_back(text.substr(0, end));
    text.remove_prefix(std::min(end + (text.substr(end).starts_with("\r\n") ? 2 : 1), text.size()));
  }
  return lines;
}

}  // namespace ringtrue::mic_file
