#include "excitation.hpp"

#include <algorithm>
#include <array>

namespace ringtrue::app {
namespace {

constexpr std::array option_names{"--level-dbfs", "--loud", "--sweep-seconds", "--decay-seconds"};

}  // namespace

void add_excitation_options(CLI::App& command, ExcitationOptions& options, const std::string& group) {
  command.add_option("--level-dbfs", options.peak_level_dbfs, "peak level of the sweeps in dB, 0 = full scale")
      ->option_text("DB")
      ->capture_default_str()
      ->group(group);
  command.add_flag("--loud", options.loud, "allow peak levels above -6 dBFS")->group(group);
  command
      .add_option("--sweep-seconds", options.sweep_seconds,
                  "length of a sweep over 20 Hz-20 kHz, and of a sub's over its own band; longer ones stand out more "
                  "from noise")
      ->option_text("S")
      ->capture_default_str()
      ->group(group);
  command
      .add_option("--decay-seconds", options.decay_seconds,
                  "silence after each sweep: at least the room's reverberation time")
      ->option_text("S")
      ->capture_default_str()
      ->group(group);
}

bool excitation_given(const CLI::App& command) {
  return std::ranges::any_of(option_names, [&](const char* name) { return command.count(name) > 0; });
}

StimulusOptions stimulus_options(const ExcitationOptions& options) {
  StimulusOptions result;
  result.peak_level = Decibels{options.peak_level_dbfs};
  result.allow_loud = options.loud;
  result.main_sweep = Seconds{options.sweep_seconds};
  result.sub_sweep = Seconds{options.sweep_seconds};
  result.decay = Seconds{options.decay_seconds};
  return result;
}

}  // namespace ringtrue::app
