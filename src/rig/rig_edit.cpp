#include "ringtrue/rig/rig_edit.hpp"

#include <fmt/format.h>

#include <cmath>

#include "ringtrue/core/errors.hpp"
#include "ringtrue/rig/rig_file.hpp"

namespace ringtrue {
namespace {

constexpr std::string_view microphone_header = "[microphone]";
constexpr std::string_view full_scale_key = "full_scale_spl_db";

std::string_view without_indent(std::string_view line) {
  const std::size_t first = line.find_first_not_of(" \t");
  return first == std::string_view::npos ? std::string_view{} : line.substr(first);
}

/// What stands behind the value: a comment, a carriage return.
std::string_view behind_value(std::string_view line) {
  const std::size_t comment = line.find('#');
  if (comment != std::string_view::npos) return line.substr(comment);
  return line.ends_with('\r') ? line.substr(line.size() - 1) : std::string_view{};
}

/// The text with the line put in: over the old one, else under the table's header, else at the end.
class Editor {
 public:
  explicit Editor(std::string setting) : setting_{std::move(setting)} {}

  std::string edit(std::string_view text) {
    while (!text.empty()) {
      const std::size_t end = text.find('\n');
      take_line(text.substr(0, end));
      text.remove_prefix(end == std::string_view::npos ? text.size() : end + 1);
    }
    if (header_end_ == 0) {
      result_ += fmt::format("\n{}\n{}  # by 'ringtrue level': holds while its gain is left alone\n", microphone_header,
                             setting_);
    } else if (!replaced_) {
      result_.insert(header_end_, setting_ + '\n');
    }
    return std::move(result_);
  }

 private:
  void take_line(std::string_view line) {
    const std::string_view content = without_indent(line);
    if (content.starts_with('[')) inside_ = content.starts_with(microphone_header);
    if (inside_ && content.starts_with(full_scale_key)) {
      const std::string_view rest = behind_value(content);
      result_ += setting_ + (rest.starts_with('#') ? "  " : "");
      result_ += rest;
      replaced_ = true;
    } else {
      result_ += line;
    }
    result_ += '\n';
    if (content.starts_with(microphone_header)) header_end_ = result_.size();
  }

  std::string setting_;
  std::string result_;
  std::size_t header_end_ = 0;  // 0: the table is not there
  bool inside_ = false;
  bool replaced_ = false;
};

}  // namespace

std::string with_full_scale_spl(std::string_view text, const std::string& name, double full_scale_spl_db) {
  const double value = std::round(full_scale_spl_db * 100.0) / 100.0;
  Rig wanted = parse_rig(text, name);
  wanted.microphone.full_scale_spl_db = value;
  const std::string setting = fmt::format("{} = {:.2f}", full_scale_key, value);
  std::string result = Editor{setting}.edit(text);
  bool says_so = false;
  try {
    says_so = parse_rig(result, name) == wanted;
  } catch (const InvalidInput&) {
  }
  if (says_so) return result;
  throw InvalidInput{name, "is written in a way that cannot be edited without changing something else",
                     fmt::format("write \"{}\" under {} yourself", setting, microphone_header)};
}

}  // namespace ringtrue
