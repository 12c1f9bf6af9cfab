#pragma once

#include <cstddef>
#include <cstdint>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

namespace ringtrue {

struct TomlEntry;
struct TomlValue;

/// A table of a TOML file, its entries in the order of the file.
struct TomlTable {
  int line = 0;  // where its header stands, counted from 1
  std::vector<TomlEntry> entries;
};

struct TomlDate {};  // no key of ours is a date

/// A value of a TOML file with the line it stands on.
struct TomlValue {
  int line = 0;
  std::variant<bool, std::int64_t, double, std::string, std::vector<TomlValue>, TomlTable, TomlDate> data;
};

struct TomlEntry {
  std::string key;
  int line = 0;
  TomlValue value;
};

/// TOML text as a tree of values that know their lines. Safe on hostile text: no deep recursion, no crash.
/// @param name  what errors call the text
/// @throws InvalidInput  "name:LINE: what; remedy" when the text is not UTF-8, not TOML 1.0, or nested too deeply
[[nodiscard]] TomlTable parse_toml(std::string_view text, const std::string& name);

/// A user's text fit for a one-line message: cut after `most` characters, control characters shown as '?'.
[[nodiscard]] std::string shown(std::string_view text, std::size_t most = 40);

}  // namespace ringtrue
