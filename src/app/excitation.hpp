#pragma once

#include <CLI/CLI.hpp>
#include <string>

#include "ringtrue/stimulus/stimulus.hpp"

namespace ringtrue::app {

/// What of the excitation the user may set.
struct ExcitationOptions {
  double peak_level_dbfs = StimulusOptions{}.peak_level.value();
  bool loud = false;
  double sweep_seconds = StimulusOptions{}.main_sweep.value();
  double decay_seconds = StimulusOptions{}.decay.value();
};

/// Declares --level-dbfs, --loud, --sweep-seconds and --decay-seconds under a heading of the help page.
void add_excitation_options(CLI::App& command, ExcitationOptions& options, const std::string& group = "Options");

/// True when one of them was given on the command line.
[[nodiscard]] bool excitation_given(const CLI::App& command);

[[nodiscard]] StimulusOptions stimulus_options(const ExcitationOptions& options);

}  // namespace ringtrue::app
