#pragma once

#include <array>
#include <cstddef>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "toml_document.hpp"

namespace ringtrue {

/// The keys one kind of table may have.
struct TableSchema {
  std::string_view title;  // as a person writes it: "[room]", "[[speaker]]"; empty for the top of the file
  std::span<const std::string_view> keys;
};

/// What a numeric key may hold: bounds included, unit for messages, and TOML text that would be right.
struct NumberRule {
  std::string_view key;
  double low = 0.0;
  double high = 0.0;
  std::string_view unit;
  std::string_view example;
};

/// What a text key may hold; control characters never.
struct TextRule {
  std::string_view key;
  std::size_t shortest = 0;  // characters
  std::size_t longest = 0;
  std::string_view example;
};

/// One table being read into a value. Every read leaves its target alone when the key is absent and reports whether
/// it was there; every error names file, line and key, what is wrong and what to write instead.
class TableReader {
 public:
  /// @param schemas  all tables of the file, for telling where a misplaced key belongs
  /// @throws InvalidInput  when the table has a key its schema lacks
  TableReader(const std::string& file, const TomlTable& table, const TableSchema& schema,
              std::span<const TableSchema> schemas);

  bool read(const NumberRule& rule, double& target) const;
  bool read(const NumberRule& rule, int& target) const;
  bool read(const NumberRule& rule, std::array<double, 3>& target) const;
  bool read(const TextRule& rule, std::string& target) const;
  bool read(std::string_view key, bool& target) const;

  /// Two numbers, the first not above the second.
  bool read_range(const NumberRule& rule, std::array<double, 2>& target) const;

  /// The table under `key`, written [key].
  [[nodiscard]] std::optional<TableReader> table(std::string_view key, const TableSchema& schema) const;
  /// The tables under `key`, each written [[key]]; none when the key is absent.
  [[nodiscard]] std::vector<TableReader> tables(std::string_view key, const TableSchema& schema) const;

  /// The line of `key`, or of the table when the key is absent.
  [[nodiscard]] int line(std::string_view key) const;

  void require(std::string_view key, std::string_view example) const;
  [[noreturn]] void refuse(std::string_view key, const std::string& what, const std::string& remedy) const;

 private:
  [[nodiscard]] const TomlValue* find(std::string_view key) const;
  [[noreturn]] void refuse_type(std::string_view key, const TomlValue& value, std::string_view wanted,
                                std::string_view example) const;
  [[nodiscard]] double number(const NumberRule& rule, const TomlValue& value) const;
  bool read_numbers(const NumberRule& rule, std::span<double> target) const;
  void refuse_unknown_keys() const;
  [[nodiscard]] std::string hint_for(std::string_view key) const;

  const std::string* file_;
  const TomlTable* table_;
  TableSchema schema_;
  std::span<const TableSchema> schemas_;
};

/// A number as a person writes it: shortest form that reads back equal, whatever the locale; no minus before zero.
[[nodiscard]] std::string text_of(double value);

}  // namespace ringtrue
