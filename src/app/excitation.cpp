#include "excitation.hpp"

#include <algorithm>
#include <array>

#include "ringtrue/stimulus/interleave.hpp"

namespace ringtrue::app {
namespace {

constexpr std::array option_names{"--level-dbfs", "--loud",       "--sweep-seconds",
                                  "--decay",      "--interleave", "--harmonics"};

}  // namespace

void add_excitation_options(CLI::App& command, ExcitationOptions& options, const std::string& group) {
  command.add_option("--level-dbfs", options.peak_level_dbfs, "peak level of the sweeps in dB, 0 = full scale")
      ->option_text("DB")
      ->capture_default_str()
      ->group(group);
  command.add_flag("--loud", options.loud, "allow peak levels above -6 dBFS, and more than 85 dB(A) at the microphone")
      ->group(group);
  command
      .add_option("--sweep-seconds", options.sweep_seconds,
                  "length of a sweep over 20 Hz-20 kHz, and of a sub's over its own band; longer ones stand out more "
                  "from noise (default: 2.2, interleaved 2.7)")
      ->option_text("S")
      ->group(group);
  command
      .add_option("--decay-seconds,--decay", options.decay_seconds,
                  "silence after each sweep: at least the room's reverberation time (default: 0.75, interleaved 0.4)")
      ->option_text("S")
      ->group(group);
  command
      .add_flag("--interleave", options.interleave,
                "let the sweeps overlap, so that twelve speakers take 15 s instead of 66; for rooms whose "
                "reverberation time is no longer than --decay")
      ->group(group);
  command
      .add_option("--harmonics", options.harmonics,
                  "interleaved: highest order of distortion that is kept apart from the responses, 3 to 5")
      ->option_text("N")
      ->capture_default_str()
      ->group(group);
}

bool excitation_given(const CLI::App& command) {
  return std::ranges::any_of(option_names, [&](const char* name) { return command.count(name) > 0; });
}

StimulusOptions stimulus_options(const ExcitationOptions& options) {
  StimulusOptions result = options.interleave ? interleaved_options() : StimulusOptions{};
  result.peak_level = Decibels{options.peak_level_dbfs};
  result.allow_loud = options.loud;
  if (options.sweep_seconds) result.main_sweep = result.sub_sweep = Seconds{*options.sweep_seconds};
  if (options.decay_seconds) result.decay = Seconds{*options.decay_seconds};
  result.harmonics = options.harmonics;
  return result;
}

}  // namespace ringtrue::app
