#pragma once

#include <algorithm>
#include <string_view>

#include "../rig/table_reader.hpp"

namespace ringtrue {

/// A table with the tree behind it, for the kinds of value the reader knows nothing of.
struct RoomSection {
  TableReader reader;
  const TomlTable* raw;

  [[nodiscard]] const TomlValue* find(std::string_view key) const {
    const auto entry = std::ranges::find(raw->entries, key, &TomlEntry::key);
    return entry == raw->entries.end() ? nullptr : &entry->value;
  }
};

}  // namespace ringtrue
