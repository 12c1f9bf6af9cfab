#include "toml_guard.hpp"

#include <algorithm>
#include <cstddef>

namespace ringtrue {
namespace {

constexpr int deepest_bracket = 16;
constexpr int most_dots = 8;

int line_of(std::string_view text, std::size_t offset) {
  return 1 + static_cast<int>(std::ranges::count(text.substr(0, offset), '\n'));
}

bool continues(std::string_view text, std::size_t i) {
  return i < text.size() && (static_cast<unsigned char>(text[i]) & 0xC0U) == 0x80U;
}

/// Bytes of the UTF-8 sequence that starts at i; 0 when there is none (RFC 3629, section 4: no overlong forms, no
/// surrogates, nothing above U+10FFFF).
std::size_t sequence_length(std::string_view text, std::size_t i) {
  const auto first = static_cast<unsigned char>(text[i]);
  const auto second = i + 1 < text.size() ? static_cast<unsigned char>(text[i + 1]) : 0U;
  if (first < 0x80U) return first == 0 ? 0 : 1;
  if (first < 0xC2U || first > 0xF4U || !continues(text, i + 1)) return 0;
  if (first < 0xE0U) return 2;
  if ((first == 0xE0U && second < 0xA0U) || (first == 0xEDU && second > 0x9FU)) return 0;
  if (!continues(text, i + 2)) return 0;
  if (first < 0xF0U) return 3;
  if ((first == 0xF0U && second < 0x90U) || (first == 0xF4U && second > 0x8FU)) return 0;
  return continues(text, i + 3) ? 4 : 0;
}

bool starts_at(std::string_view text, std::size_t i, std::string_view part) {
  return text.substr(i, part.size()) == part;
}

bool is_blank(char c) { return c == ' ' || c == '\t' || c == '\r'; }

bool begins_key(char c) {
  return (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') || c == '_' || c == '-' ||
         c == '"' || c == '\'';
}

/// Does the table header that starts at i, "[" or "[[", go on with a key?
bool begins_with_key(std::string_view text, std::size_t i) {
  const bool is_array = starts_at(text, i, "[[");
  const std::size_t name = text.find_first_not_of(" \t", i + (is_array ? 2 : 1));
  return name != std::string_view::npos && begins_key(text[name]);
}

/// Where a letter beyond ASCII follows the backslash at i, with blanks and line ends between them or not.
std::optional<std::size_t> escaped_letter(std::string_view text, std::size_t i) {
  const std::size_t next = text.find_first_not_of(" \t\r\n", i + 1);
  if (next == std::string_view::npos || static_cast<unsigned char>(text[next]) < 0x80U) return std::nullopt;
  return next;
}

/// Offset just past the string or comment that starts at i, or of an escaped letter beyond ASCII inside it. An
/// unclosed single-line string ends at its line's end; the parser stops there anyway.
std::size_t past_quiet_text(std::string_view text, std::size_t i) {
  const char quote = text[i];
  if (quote == '#') return std::min(text.find('\n', i), text.size());
  const std::string_view triple = quote == '"' ? "\"\"\"" : "'''";
  const bool many_lines = starts_at(text, i, triple);
  for (i += many_lines ? 3 : 1; i < text.size(); ++i) {
    if (quote == '"' && text[i] == '\\') {
      if (const auto letter = escaped_letter(text, i)) return *letter;
      ++i;
    } else if (many_lines ? starts_at(text, i, triple) : text[i] == quote || text[i] == '\n') {
      break;
    }
  }
  if (!many_lines) return std::min(i + 1, text.size());
  // Up to two quotes may stand right before the closing three, so the last three of the run close it.
  i = std::min(i + 3, text.size());
  for (int extra = 0; extra < 2 && i < text.size() && text[i] == quote; ++extra) ++i;
  return i;
}

bool is_one_of(char c, std::string_view characters) { return characters.find(c) != std::string_view::npos; }

/// Reads a text once, character by character, strings and comments in one go each.
class StructureScan {
 public:
  explicit StructureScan(std::string_view text) : text_{text} {}

  std::optional<TextFault> find_fault() {
    while (i_ < text_.size()) {
      if (auto fault = fault_here()) return fault;
      count(text_[i_]);
      i_ = is_one_of(text_[i_], "\"'#") ? past_quiet_text(text_, i_) : i_ + 1;
    }
    return std::nullopt;
  }

 private:
  [[nodiscard]] std::optional<TextFault> fault_here() const {
    const char c = text_[i_];
    if (brackets_ > deepest_bracket || dots_ > most_dots) {
      return fault("the values are nested too deeply", "write them as docs/rig.md shows");
    }
    if (c == '[' && brackets_ == 0 && line_is_blank_ && !begins_with_key(text_, i_)) {
      return fault("a table without a proper name", "write [name] with letters, digits, _ and -");
    }
    if (static_cast<unsigned char>(c) >= 0x80U) {
      return fault("TOML allows no letter beyond a-z here", "write it inside quotes, or not at all");
    }
    if (is_one_of(c, "\"'") && !string_may_begin()) {
      return fault("a quote in the middle of a word", "put quotes around the whole text");
    }
    return std::nullopt;
  }

  /// The parser takes a word that begins like a number up to the next blank, comma or closing bracket, whatever is in
  /// it; other words end at the next character that has a meaning.
  [[nodiscard]] bool string_may_begin() const {
    return (i_ == 0 || is_one_of(text_[i_ - 1], " \t\n,=[{.")) && !is_one_of(word_begin_, "0123456789+-");
  }

  void count(char c) {
    line_is_blank_ = c == '\n' || (line_is_blank_ && is_blank(c));
    if (is_one_of(c, "[{")) ++brackets_;
    if (is_one_of(c, "]}")) --brackets_;
    if (c == '.') ++dots_;
    if (is_one_of(c, "\n,=")) dots_ = 0;
    const bool is_number = is_one_of(word_begin_, "0123456789+-");
    if (is_one_of(c, " \t\r\n,]}#") || (is_one_of(c, "=[{") && !is_number)) {
      word_begin_ = no_word;
    } else if (word_begin_ == no_word) {
      word_begin_ = c;
    }
  }

  [[nodiscard]] TextFault fault(const char* what, const char* remedy) const {
    return {line_of(text_, i_), what, remedy};
  }

  static constexpr char no_word = '\0';  // cannot stand in the text

  std::string_view text_;
  std::size_t i_ = 0;
  int brackets_ = 0;
  int dots_ = 0;               // in this key or number
  bool line_is_blank_ = true;  // so far
  char word_begin_ = no_word;
};

}  // namespace

std::optional<TextFault> find_encoding_fault(std::string_view text) {
  for (std::size_t i = 0; i < text.size();) {
    const std::size_t length = sequence_length(text, i);
    if (length == 0) return TextFault{line_of(text, i), "this is not UTF-8 text", "save the file as UTF-8"};
    i += length;
  }
  return std::nullopt;
}

std::optional<TextFault> find_structure_fault(std::string_view text) { return StructureScan{text}.find_fault(); }

}  // namespace ringtrue
