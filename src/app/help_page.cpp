#include "help_page.hpp"

#include "ringtrue/report/text_layout.hpp"

namespace ringtrue::app {
namespace {

constexpr std::size_t option_columns = 28;

}  // namespace

HelpPage::HelpPage() { column_width(option_columns); }

std::string HelpPage::make_description(const CLI::App* command) const {
  return text::wrapped(command->get_description());
}

std::string HelpPage::make_help(const CLI::App* command, std::string name, CLI::AppFormatMode mode) const {
  const std::string page = CLI::Formatter::make_help(command, std::move(name), mode);
  return CLI::detail::find_and_replace(page, "\n\n\n", "\n\n");  // between groups of options
}

std::string HelpPage::make_option_desc(const CLI::Option* option) const {
  std::string description = option->get_description();
  if (option->get_required()) description += " (required)";
  if (!option->get_default_str().empty()) description += " (default: " + option->get_default_str() + ')';
  std::string lines = text::wrapped(description, {}, text::page_columns - option_columns);
  lines.pop_back();  // the caller ends the line
  return lines;
}

}  // namespace ringtrue::app
