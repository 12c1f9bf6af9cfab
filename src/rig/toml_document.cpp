#include "toml_document.hpp"

// toml++ 3.3 meets some malformed text with an assertion, which is undefined behaviour where NDEBUG is set (its
// issue 294). Here every one becomes an exception, whatever the build. This must stay the only file that includes
// toml++: elsewhere its functions would be compiled to assume instead, and the linker would choose.
#undef NDEBUG
namespace {
struct BrokenAssumption {};
[[noreturn]] void throw_broken_assumption() { throw BrokenAssumption{}; }
}  // namespace
#define TOML_ASSERT(expr) (static_cast<bool>(expr) ? void() : throw_broken_assumption())
#include <toml++/toml.h>

#include <algorithm>
#include <cstddef>
#include <tuple>
#include <utility>

#include "ringtrue/core/errors.hpp"
#include "toml_guard.hpp"

namespace ringtrue {
namespace {

TomlValue convert(const toml::node& node);

int line_of(const toml::source_region& source) { return static_cast<int>(source.begin.line); }

/// toml++ keeps a table sorted by key; people read a file from top to bottom.
std::vector<std::pair<const toml::key*, const toml::node*>> in_file_order(const toml::table& table) {
  std::vector<std::pair<const toml::key*, const toml::node*>> entries;
  for (auto entry = table.cbegin(); entry != table.cend(); ++entry) entries.emplace_back(&entry->first, &entry->second);
  const auto place = [](const auto& entry) {
    const toml::source_position& begin = entry.first->source().begin;
    return std::tuple{begin.line, begin.column};
  };
  std::ranges::stable_sort(entries, {}, place);
  return entries;
}

TomlTable convert_table(const toml::table& table) {
  TomlTable result{line_of(table.source()), {}};
  for (const auto& [key, node] : in_file_order(table)) {
    result.entries.push_back({std::string{key->str()}, line_of(key->source()), convert(*node)});
  }
  return result;
}

std::vector<TomlValue> convert_array(const toml::array& array) {
  std::vector<TomlValue> result;
  for (const toml::node& element : array) result.push_back(convert(element));
  return result;
}

TomlValue convert(const toml::node& node) {
  TomlValue result{line_of(node.source()), TomlDate{}};
  if (const auto* const flag = node.as_boolean()) result.data = flag->get();
  if (const auto* const whole = node.as_integer()) result.data = whole->get();
  if (const auto* const number = node.as_floating_point()) result.data = number->get();
  if (const auto* const text = node.as_string()) result.data = text->get();
  if (const auto* const array = node.as_array()) result.data = convert_array(*array);
  if (const auto* const table = node.as_table()) result.data = convert_table(*table);
  return result;
}

[[noreturn]] void refuse(const std::string& name, const TextFault& fault) {
  throw InvalidInput{name + ":" + std::to_string(fault.line), fault.what, fault.remedy};
}

constexpr std::size_t longest_description = 160;  // of a syntax error; it may quote the text

bool breaks_parser(std::string_view text) {
  try {
    (void)toml::parse(text);
  } catch (const toml::parse_error&) {
    return false;
  } catch (const BrokenAssumption&) {
    return true;
  }
  return false;
}

/// The line at which the parser broke. It reads from top to bottom, so the text up to any line breaks it if and only
/// if that line is the one or a later one: a search by halves.
int broken_line(std::string_view text) {
  std::vector<std::size_t> ends;  // of lines
  for (std::size_t i = 0; i < text.size(); ++i) {
    if (text[i] == '\n' || i + 1 == text.size()) ends.push_back(i + 1);
  }
  const auto breaks = [&](std::size_t end) { return breaks_parser(text.substr(0, end)); };
  const auto first = std::ranges::partition_point(ends, [&](std::size_t end) { return !breaks(end); });
  return 1 + static_cast<int>(first - ends.begin());
}

}  // namespace

std::string shown(std::string_view text, std::size_t most) {
  std::size_t end = 0;
  std::size_t characters = 0;
  while (end < text.size() && characters < most) {
    do ++end;
    while (end < text.size() && (static_cast<unsigned char>(text[end]) & 0xC0U) == 0x80U);
    ++characters;
  }
  std::string result{text.substr(0, end)};
  std::ranges::replace_if(
      result, [](unsigned char c) { return c < 0x20U || c == 0x7FU; }, '?');
  return end < text.size() ? result + "..." : result;
}

TomlTable parse_toml(std::string_view text, const std::string& name) {
  constexpr std::string_view byte_order_mark = "\xEF\xBB\xBF";
  if (text.starts_with(byte_order_mark)) text.remove_prefix(byte_order_mark.size());
  if (const auto fault = find_encoding_fault(text)) refuse(name, *fault);
  if (const auto fault = find_structure_fault(text)) refuse(name, *fault);
  try {
    return convert_table(toml::parse(text));
  } catch (const toml::parse_error& error) {
    const std::string what = shown(error.description(), longest_description);
    refuse(name, {line_of(error.source()), what, "correct the TOML on this line"});
  } catch (const BrokenAssumption&) {
    refuse(name, {broken_line(text), "this line is not TOML", "write it as docs/rig.md shows"});
  }
}

}  // namespace ringtrue
