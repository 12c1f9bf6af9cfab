#pragma once

#include <CLI/CLI.hpp>
#include <string>

namespace ringtrue::app {

/// Help that fits a terminal of 80 columns and says of each option what is required and what the default is.
class HelpPage : public CLI::Formatter {
 public:
  HelpPage();
  std::string make_description(const CLI::App* command) const override;
  std::string make_help(const CLI::App* command, std::string name, CLI::AppFormatMode mode) const override;
  std::string make_option_desc(const CLI::Option* option) const override;
};

}  // namespace ringtrue::app
