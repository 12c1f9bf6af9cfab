#pragma once

#include <CLI/CLI.hpp>
#include <optional>
#include <string>

#include "ringtrue/stimulus/stimulus.hpp"

namespace ringtrue::app {

/// What of the excitation the user may set.
struct ExcitationOptions {
  double peak_level_dbfs = StimulusOptions{}.peak_level.value();
  bool loud = false;
  std::optional<double> sweep_seconds;  // none: the default
  std::optional<double> decay_seconds;  // none: the default, or measured where that can be done first
  bool interleave = false;
  int harmonics = StimulusOptions{}.harmonics;
};

/// Declares --level-dbfs, --loud, --sweep-seconds, --decay, --interleave and --harmonics under a heading of the help
/// page.
void add_excitation_options(CLI::App& command, ExcitationOptions& options, const std::string& group = "Options");

/// True when one of them was given on the command line.
[[nodiscard]] bool excitation_given(const CLI::App& command);

[[nodiscard]] StimulusOptions stimulus_options(const ExcitationOptions& options);

}  // namespace ringtrue::app
