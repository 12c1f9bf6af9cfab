#pragma once

#include <CLI/CLI.hpp>
#include <functional>

namespace ringtrue::app {

/// One command: its part of the command line, and what to do once that has been read (returns the exit status).
struct Command {
  CLI::App* parser;
  std::function<int()> run;
};

[[nodiscard]] Command add_plan_command(CLI::App& program);
[[nodiscard]] Command add_devices_command(CLI::App& program);
[[nodiscard]] Command add_linecheck_command(CLI::App& program);
[[nodiscard]] Command add_level_command(CLI::App& program);
[[nodiscard]] Command add_stimulus_command(CLI::App& program);
[[nodiscard]] Command add_calibrate_command(CLI::App& program);
[[nodiscard]] Command add_recheck_command(CLI::App& program);
[[nodiscard]] Command add_verify_command(CLI::App& program);
[[nodiscard]] Command add_export_command(CLI::App& program);
[[nodiscard]] Command add_history_command(CLI::App& program);
[[nodiscard]] Command add_simulate_command(CLI::App& program);

}  // namespace ringtrue::app
