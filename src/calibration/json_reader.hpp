#pragma once

#include <array>
#include <cstddef>
#include <initializer_list>
#include <nlohmann/json.hpp>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace ringtrue::json {

using Parsed = nlohmann::json;  // sorted keys: an object with a million of them is still read quickly

/// Parses JSON text. @throws InvalidInput  for bad JSON (with the line), and for nesting deeper than `deepest`
[[nodiscard]] Parsed parse(std::string_view text, const std::string& text_name, int deepest);

/// A value of a parsed text that knows where it stands, so that errors name the path: "NAME, speakers[2].label".
/// It refers to the parsed text, which must outlive it. Every member throws InvalidInput where the value is not that.
class Reader {
 public:
  Reader(const Parsed& value, std::string text_name, std::string path = {})
      : value_{&value}, text_name_{std::move(text_name)}, path_{std::move(path)} {}

  [[nodiscard]] Reader at(const std::string& key) const;
  /// The value under a key that earlier versions did not write; empty where it is missing or null.
  [[nodiscard]] std::optional<Reader> find(const std::string& key) const;
  [[nodiscard]] std::vector<Reader> elements(std::size_t at_most) const;
  [[nodiscard]] bool is_null() const { return value_->is_null(); }
  [[nodiscard]] bool boolean() const;
  [[nodiscard]] std::string text() const;
  [[nodiscard]] double number() const;
  [[nodiscard]] int integer(int lowest, int highest) const;

  template <std::size_t N>
  [[nodiscard]] std::array<double, N> numbers() const {
    const auto items = elements(N);
    require(items.size() == N, "an array of " + std::to_string(N) + " numbers");
    std::array<double, N> result{};
    for (std::size_t i = 0; i < N; ++i) result[i] = items[i].number();
    return result;
  }

  /// The one of `choices` whose name() is this text.
  template <class Enum>
  [[nodiscard]] Enum one_of(std::initializer_list<Enum> choices) const {
    const std::string given = text();
    std::string names;
    for (const Enum choice : choices) {
      if (given == name(choice)) return choice;
      names += (names.empty() ? "\"" : ", \"") + std::string{name(choice)} + '"';
    }
    fail("is none of " + names);
  }

  void require(bool holds, const std::string& expected) const;
  [[noreturn]] void fail(const std::string& what) const;

 private:
  const Parsed* value_;
  std::string text_name_;
  std::string path_;
};

/// Null as nothing, anything else as `read` makes it.
template <class Read>
[[nodiscard]] auto optional(const Reader& value, const Read& read) -> std::optional<decltype(read(value))> {
  if (value.is_null()) return std::nullopt;
  return read(value);
}

[[nodiscard]] inline std::optional<double> optional_number(const Reader& value) {
  return optional(value, [](const Reader& some) { return some.number(); });
}

}  // namespace ringtrue::json
