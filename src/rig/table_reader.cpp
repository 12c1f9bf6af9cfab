#include "table_reader.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "nearest_key.hpp"
#include "ringtrue/core/errors.hpp"

namespace ringtrue {
namespace {

struct Describe {
  std::string operator()(bool flag) const { return flag ? "true" : "false"; }
  std::string operator()(std::int64_t whole) const { return fmt::format("the number {}", whole); }
  std::string operator()(double value) const { return fmt::format("the number {}", value); }
  std::string operator()(const std::string& text) const { return fmt::format("the text \"{}\"", shown(text)); }
  std::string operator()(const std::vector<TomlValue>&) const { return "a list"; }
  std::string operator()(const TomlTable&) const { return "a table"; }
  std::string operator()(TomlDate) const { return "a date"; }
};

std::string describe(const TomlValue& value) { return std::visit(Describe{}, value.data); }

std::optional<double> as_number(const TomlValue& value) {
  if (const auto* const whole = std::get_if<std::int64_t>(&value.data)) return static_cast<double>(*whole);
  if (const auto* const real = std::get_if<double>(&value.data)) return *real;
  return std::nullopt;
}

std::string write(std::string_view key, std::string_view example) {
  return fmt::format("write, for example, {} = {}", key, example);
}

std::string bounds(const NumberRule& rule) {
  return fmt::format("{} to {}{}{}", rule.low, rule.high, rule.unit.empty() ? "" : " ", rule.unit);
}

std::size_t characters(std::string_view text) {
  return static_cast<std::size_t>(
      std::ranges::count_if(text, [](char c) { return (static_cast<unsigned char>(c) & 0xC0U) != 0x80U; }));
}

bool has_control_character(std::string_view text) {
  return std::ranges::any_of(text, [](unsigned char c) { return c < 0x20U || c == 0x7FU; });
}

}  // namespace

std::string text_of(double value) { return fmt::format("{}", value == 0.0 ? 0.0 : value); }

TableReader::TableReader(const std::string& file, const TomlTable& table, const TableSchema& schema,
                         std::span<const TableSchema> schemas)
    : file_{&file}, table_{&table}, schema_{schema}, schemas_{schemas} {
  refuse_unknown_keys();
}

void TableReader::refuse_unknown_keys() const {
  for (const TomlEntry& entry : table_->entries) {
    if (std::ranges::find(schema_.keys, entry.key) != schema_.keys.end()) continue;
    const std::string place = schema_.title.empty() ? "at the top of the file" : fmt::format("in {}", schema_.title);
    throw InvalidInput{fmt::format("{}:{}, {}", *file_, entry.line, shown(entry.key)),
                       fmt::format("unknown key {}", place), hint_for(entry.key)};
  }
}

std::string TableReader::hint_for(std::string_view key) const {
  for (const TableSchema& other : schemas_) {
    if (std::ranges::find(other.keys, key) == other.keys.end()) continue;
    return other.title.empty() ? std::string{"it belongs at the top of the file, before the first [table]"}
                               : fmt::format("it belongs under {}", other.title);
  }
  return fmt::format("the nearest known key is {}", nearest_key(key, schema_.keys));
}

const TomlValue* TableReader::find(std::string_view key) const {
  const auto entry = std::ranges::find(table_->entries, key, &TomlEntry::key);
  return entry == table_->entries.end() ? nullptr : &entry->value;
}

int TableReader::line(std::string_view key) const {
  const auto entry = std::ranges::find(table_->entries, key, &TomlEntry::key);
  return std::max(1, entry == table_->entries.end() ? table_->line : entry->line);
}

void TableReader::refuse(std::string_view key, const std::string& what, const std::string& remedy) const {
  throw InvalidInput{fmt::format("{}:{}, {}", *file_, line(key), key), what, remedy};
}

void TableReader::refuse_type(std::string_view key, const TomlValue& value, std::string_view wanted,
                              std::string_view example) const {
  refuse(key, fmt::format("{} where {} is expected", describe(value), wanted), write(key, example));
}

void TableReader::require(std::string_view key, std::string_view example) const {
  if (find(key) != nullptr) return;
  const std::string place = schema_.title.empty() ? "" : fmt::format(" in this {}", schema_.title);
  refuse(key, fmt::format("missing{}", place), fmt::format("add, for example, {} = {}", key, example));
}

double TableReader::number(const NumberRule& rule, const TomlValue& value) const {
  const std::optional<double> result = as_number(value);
  if (!result) refuse_type(rule.key, value, "a number", rule.example);
  if (!std::isfinite(*result)) {
    refuse(rule.key, fmt::format("{} is not a finite number", *result), write(rule.key, rule.example));
  }
  if (*result < rule.low || *result > rule.high) {
    refuse(rule.key, fmt::format("{} is outside {}", *result, bounds(rule)), write(rule.key, rule.example));
  }
  return *result;
}

bool TableReader::read(const NumberRule& rule, double& target) const {
  const TomlValue* const value = find(rule.key);
  if (value == nullptr) return false;
  target = number(rule, *value);
  return true;
}

bool TableReader::read(const NumberRule& rule, int& target) const {
  const TomlValue* const value = find(rule.key);
  if (value == nullptr) return false;
  if (!std::holds_alternative<std::int64_t>(value->data)) {
    refuse_type(rule.key, *value, "a whole number", rule.example);
  }
  target = static_cast<int>(number(rule, *value));
  return true;
}

bool TableReader::read_numbers(const NumberRule& rule, std::span<double> target) const {
  const TomlValue* const value = find(rule.key);
  if (value == nullptr) return false;
  const auto* const list = std::get_if<std::vector<TomlValue>>(&value->data);
  if (list == nullptr) refuse_type(rule.key, *value, fmt::format("a list of {} numbers", target.size()), rule.example);
  if (list->size() != target.size()) {
    refuse(rule.key, fmt::format("a list of {} where {} numbers are expected", list->size(), target.size()),
           write(rule.key, rule.example));
  }
  std::ranges::transform(*list, target.begin(), [&](const TomlValue& element) { return number(rule, element); });
  return true;
}

bool TableReader::read(const NumberRule& rule, std::array<double, 3>& target) const {
  return read_numbers(rule, target);
}

bool TableReader::read_range(const NumberRule& rule, std::array<double, 2>& target) const {
  if (!read_numbers(rule, target)) return false;
  if (target[0] <= target[1]) return true;
  refuse(rule.key, fmt::format("the range runs backwards, from {} to {}", target[0], target[1]),
         fmt::format("write the smaller number first, {} = [{}, {}]", rule.key, target[1], target[0]));
}

bool TableReader::read(const TextRule& rule, std::string& target) const {
  const TomlValue* const value = find(rule.key);
  if (value == nullptr) return false;
  const auto* const text = std::get_if<std::string>(&value->data);
  if (text == nullptr) refuse_type(rule.key, *value, "text in quotes", rule.example);
  if (has_control_character(*text)) {
    refuse(rule.key, fmt::format("\"{}\" contains a control character", shown(*text)), write(rule.key, rule.example));
  }
  const std::size_t length = characters(*text);
  if (length < rule.shortest) refuse(rule.key, "the text is empty", write(rule.key, rule.example));
  if (length > rule.longest) {
    refuse(rule.key, fmt::format("\"{}\" has {} characters", shown(*text), length),
           fmt::format("use at most {}", rule.longest));
  }
  target = *text;
  return true;
}

bool TableReader::read(std::string_view key, bool& target) const {
  const TomlValue* const value = find(key);
  if (value == nullptr) return false;
  const auto* const flag = std::get_if<bool>(&value->data);
  if (flag == nullptr) refuse_type(key, *value, "true or false", "true");
  target = *flag;
  return true;
}

std::optional<TableReader> TableReader::table(std::string_view key, const TableSchema& schema) const {
  const TomlValue* const value = find(key);
  if (value == nullptr) return std::nullopt;
  if (const auto* const inner = std::get_if<TomlTable>(&value->data)) {
    return TableReader{*file_, *inner, schema, schemas_};
  }
  refuse(key, fmt::format("{} where a table is expected", describe(*value)),
         fmt::format("write {} on a line of its own, its keys below", schema.title));
}

std::vector<TableReader> TableReader::tables(std::string_view key, const TableSchema& schema) const {
  std::vector<TableReader> result;
  const TomlValue* const value = find(key);
  if (value == nullptr) return result;
  const std::string remedy = fmt::format("write {} with double brackets before each one", schema.title);
  const auto* const list = std::get_if<std::vector<TomlValue>>(&value->data);
  if (list == nullptr) refuse(key, fmt::format("{} where a list of tables is expected", describe(*value)), remedy);
  for (const TomlValue& element : *list) {
    const auto* const inner = std::get_if<TomlTable>(&element.data);
    if (inner == nullptr) refuse(key, fmt::format("{} where a table is expected", describe(element)), remedy);
    result.emplace_back(*file_, *inner, schema, schemas_);
  }
  return result;
}

}  // namespace ringtrue
