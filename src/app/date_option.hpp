#pragma once

#include <CLI/CLI.hpp>
#include <string>

namespace ringtrue::app {

/// Adds --date: a day, or a day and a time, as ISO 8601 writes them ("2026-03-01", "2026-03-01 18:30"). No clock is
/// read without it, so that the same recordings give the same bytes.
void add_date_option(CLI::App& command, std::string& date);

}  // namespace ringtrue::app
