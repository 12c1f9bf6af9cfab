#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <memory>
#include <nlohmann/json.hpp>

#include "command.hpp"
#include "console.hpp"
#include "excitation.hpp"
#include "program.hpp"
#include "progress.hpp"
#include "rig_part.hpp"
#include "ringtrue/capture/wav_file.hpp"
#include "ringtrue/core/errors.hpp"
#include "ringtrue/rig/rig_file.hpp"
#include "ringtrue/stimulus/overlap.hpp"
#include "ringtrue/stimulus/stimulus.hpp"

namespace ringtrue::app {
namespace {

struct StimulusOptions {
  std::string rig;
  std::string out;
  std::vector<std::string> speakers;
  ExcitationOptions excitation;
  bool json = false;
};

// 80 dB(A) for 40 hours a week is the adult allowance of WHO-ITU H.870; the sweeps last a minute or two.
constexpr const char* caution =
    R"(Before you play it: turn the monitors right down, start, and raise the level
until the sweeps are as loud as quiet music (70 to 75 dB at the listening
position is plenty). Loud sweeps can destroy tweeters and hurt ears: keep your
head away from the speakers, and do not sit in the ring while it plays.)";

std::string stimulus_footer() {
  return std::string{
             R"(Writes a 32-bit float WAV: channel k drives interface output k. Play it
unchanged, without effects, level management or sample-rate conversion, and
record the microphone from before the start until after the end.

)"} + caution +
         R"(

Examples:
  ringtrue stimulus rig.toml --out stimulus.wav
  ringtrue stimulus rig.toml --out quiet.wav --level-dbfs -30 --sweep-seconds 6
  ringtrue stimulus rig.toml --out short.wav --interleave --decay 0.3)";
}

double seconds(const Stimulus& stimulus, std::int64_t frames) {
  return static_cast<double>(frames) / stimulus.sample_rate_hz;
}

double peak_dbfs(const Stimulus& stimulus) {
  double peak = 0.0;
  for (const SweepShape& shape : stimulus.shapes) {
    for (const double sample : shape.samples) peak = std::max(peak, std::abs(sample));
  }
  return std::round(2000.0 * std::log10(peak)) / 100.0;
}

/// What a person must know about sweeps that overlap; empty where none do.
std::string describe_overlap(const Stimulus& stimulus) {
  if (!is_interleaved(stimulus)) return "";
  const std::size_t at_once = most_at_once(stimulus);
  return fmt::format(
      R"(Up to {} speakers sound at once: leave {:.0f} dB more room on the microphone's input
than a single sweep needs. Made for rooms whose reverberation time is at most
{:.2g} s; in a livelier one, make it again with --decay.
)",
      at_once, 20.0 * std::log10(static_cast<double>(at_once)), stimulus.decay.value());
}

std::string describe(const Stimulus& stimulus, const StimulusOptions& options) {
  return fmt::format("{}: {} channels, {} Hz, {:.1f} s, peak {:.4g} dBFS\n{}\n{}\n", options.out, stimulus.channels,
                     stimulus.sample_rate_hz, seconds(stimulus, stimulus.frames), peak_dbfs(stimulus),
                     describe_overlap(stimulus), caution);
}

std::string describe_as_json(const Stimulus& stimulus, const Rig& rig, const StimulusOptions& options) {
  using Json = nlohmann::ordered_json;
  Json sweeps = Json::array();
  for (const auto& sweep : stimulus.sweeps) {
    const auto& shape = stimulus.shapes[sweep.shape];
    sweeps.push_back({{"label", rig.speakers[sweep.speaker].label},
                      {"output", rig.speakers[sweep.speaker].output},
                      {"first_frame", sweep.first_frame},
                      {"frames", shape.samples.size()},
                      {"band_hz", Json::array({shape.band.low.value(), shape.band.high.value()})}});
  }
  const Json all{{"stimulus", options.out},
                 {"sample_rate_hz", stimulus.sample_rate_hz},
                 {"channels", stimulus.channels},
                 {"frames", stimulus.frames},
                 {"duration_s", seconds(stimulus, stimulus.frames)},
                 {"peak_level_dbfs", peak_dbfs(stimulus)},
                 {"speakers_at_once", most_at_once(stimulus)},
                 {"decay_s", stimulus.decay.value()},
                 {"sweeps", std::move(sweeps)}};
  return all.dump(2, ' ', false, Json::error_handler_t::replace) + '\n';
}

void refuse_to_replace_the_rig(const StimulusOptions& options) {
  std::error_code error;
  if (!std::filesystem::equivalent(options.rig, options.out, error)) return;
  throw InvalidInput{options.out, "the stimulus would replace the rig", "give another name with --out"};
}

int run(const StimulusOptions& options) {
  const Rig rig = part_of(read_rig(options.rig), options.speakers, "--speaker");
  refuse_to_replace_the_rig(options);
  const Stimulus stimulus = plan_stimulus(rig, stimulus_options(options.excitation));
  {
    Progress progress = progress_on_stderr();
    progress.now("writing " + options.out);
    write_stimulus(options.out, stimulus, rig);
  }
  print_result(options.json ? describe_as_json(stimulus, rig, options) : describe(stimulus, options));
  return done;
}

}  // namespace

Command add_stimulus_command(CLI::App& program) {
  const auto options = std::make_shared<StimulusOptions>();
  CLI::App& command = *program.add_subcommand("stimulus", "write the sound to play: sweeps, speaker by speaker");
  command.add_option("rig", options->rig, "the rig")->option_text("RIG.toml")->required();
  command.add_option("--out", options->out, "the file to write")->option_text("WAV")->required();
  command
      .add_option("--speaker", options->speakers,
                  "only this speaker (repeat the option for more): for recheck, what was moved and one that was not")
      ->option_text("LABEL")
      ->allow_extra_args(false);
  add_excitation_options(command, options->excitation);
  command.add_flag("--json", options->json, "describe the file as JSON: which sweep starts at which frame");
  command.footer(stimulus_footer());
  return {&command, [options] { return run(*options); }};
}

}  // namespace ringtrue::app
