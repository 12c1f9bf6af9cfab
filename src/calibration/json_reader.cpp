#include "json_reader.hpp"

#include <algorithm>
#include <cmath>

#include "ringtrue/core/errors.hpp"

namespace ringtrue::json {
namespace {

constexpr const char* remedy = "use a calibration.json that this program wrote";

std::string line_of(std::string_view text, std::size_t byte) {
  const auto before = text.substr(0, std::min(byte, text.size()));
  return std::to_string(1 + std::ranges::count(before, '\n'));
}

}  // namespace

Parsed parse(std::string_view text, const std::string& text_name, int deepest) {
  const auto watch_depth = [&](int enclosing, Parsed::parse_event_t event, Parsed&) {
    const bool opens = event == Parsed::parse_event_t::object_start || event == Parsed::parse_event_t::array_start;
    if (!opens || enclosing < deepest) return true;
    throw InvalidInput{text_name, "nested deeper than " + std::to_string(deepest) + " levels", remedy};
  };
  try {
    return Parsed::parse(text, watch_depth);
  } catch (const Parsed::parse_error& error) {
    throw InvalidInput{text_name + ':' + line_of(text, error.byte), "this is not JSON, or it is cut off", remedy};
  } catch (const Parsed::exception&) {  // a number beyond what a double holds
    throw InvalidInput{text_name, "it holds a number that is too large", remedy};
  }
}

Reader Reader::at(const std::string& key) const {
  require(value_->is_object(), "an object");
  const std::string path = path_.empty() ? key : path_ + '.' + key;
  const auto found = value_->find(key);
  if (found == value_->end()) Reader{*value_, text_name_, path}.fail("is missing");
  return {*found, text_name_, path};
}

std::optional<Reader> Reader::find(const std::string& key) const {
  require(value_->is_object(), "an object");
  const auto found = value_->find(key);
  if (found == value_->end() || found->is_null()) return std::nullopt;
  return at(key);
}

std::vector<Reader> Reader::elements(std::size_t at_most) const {
  require(value_->is_array(), "an array");
  require(value_->size() <= at_most, "an array of at most " + std::to_string(at_most) + " elements");
  std::vector<Reader> all;
  for (const auto& element : *value_) {
    all.emplace_back(element, text_name_, path_ + '[' + std::to_string(all.size()) + ']');
  }
  return all;
}

bool Reader::boolean() const {
  require(value_->is_boolean(), "true or false");
  return value_->get<bool>();
}

std::string Reader::text() const {
  require(value_->is_string(), "a text");
  return value_->get<std::string>();
}

double Reader::number() const {
  require(value_->is_number(), "a number");
  return value_->get<double>();  // finite: the parser refuses what a double cannot hold
}

int Reader::integer(int lowest, int highest) const {
  const double wide = number();
  require(wide == std::floor(wide) && wide >= lowest && wide <= highest,
          "a whole number from " + std::to_string(lowest) + " to " + std::to_string(highest));
  return static_cast<int>(wide);
}

void Reader::require(bool holds, const std::string& expected) const {
  if (!holds) fail("is not " + expected);
}

void Reader::fail(const std::string& what) const {
  throw InvalidInput{path_.empty() ? text_name_ : text_name_ + ", " + path_, what, remedy};
}

}  // namespace ringtrue::json
