#include <fmt/format.h>

#include <algorithm>
#include <memory>
#include <optional>

#include "calibration_folder.hpp"
#include "command.hpp"
#include "console.hpp"
#include "date_option.hpp"
#include "output_folder.hpp"
#include "program.hpp"
#include "progress.hpp"
#include "ringtrue/calibration/calibration_json.hpp"
#include "ringtrue/calibration/recheck.hpp"
#include "ringtrue/capture/atomic_file.hpp"
#include "ringtrue/capture/microphone_response_file.hpp"
#include "ringtrue/core/errors.hpp"
#include "ringtrue/report/impulse_responses.hpp"
#include "ringtrue/report/recheck_sheet.hpp"
#include "ringtrue/report/sheet.hpp"
#include "ringtrue/rig/rig_file.hpp"
#include "saved_page.hpp"
#include "source.hpp"

namespace ringtrue::app {
namespace {

struct RecheckOptions {
  std::string rig;
  std::string against;
  std::string out;
  std::vector<std::string> speakers;
  std::vector<std::string> references;
  SourceOptions source;
  std::string settings;
  std::string mic_response;
  std::string date;
  bool overwrite = false;
  bool json = false;
};

constexpr const char* recheck_footer =
    R"(After a speaker was moved, recheck measures it together with one that was not,
says how far it moved, and works out its delay, trim and polarity so that it
fits the others, whose values stay. Where they cannot stay, it says why.

The microphone stands where it stood for the calibration. The recording may hold
the whole ring or only some of it (ringtrue stimulus --speaker L --speaker Lss);
every speaker that was not moved serves as a reference. The old settings may be
typed in or not: which of both, is found from the references.

Without --speaker nothing is changed: recheck looks whether everything that was
played is as it was, and the exit status is 1 when something has drifted.

The folder given with --out gets calibration.json, sheet.txt, report.html,
places.html, recheck.json, recheck.txt and impulse-responses/; without --speaker
only the recheck files.

Examples:
  ringtrue recheck rig.toml --against results/calibration.json --speaker Lss \
      --out results2 --stimulus stimulus.wav --recording moved.wav
  ringtrue recheck rig.toml --against results/calibration.json \
      --virtual room.toml)";

std::size_t index_of(const Rig& rig, const std::string& label, const char* option) {
  const auto found = std::ranges::find(rig.speakers, label, &Speaker::label);
  if (found != rig.speakers.end()) return static_cast<std::size_t>(found - rig.speakers.begin());
  std::string known;
  for (const Speaker& speaker : rig.speakers) known += (known.empty() ? "" : ", ") + speaker.label;
  throw InvalidInput{option, "the rig has no speaker \"" + label + '"', "give one of " + known};
}

std::vector<std::size_t> named_speakers(const Rig& rig, const RecheckOptions& options) {
  std::vector<std::size_t> named;
  for (const std::string& label : options.speakers) {
    const std::size_t s = index_of(rig, label, "--speaker");
    if (std::ranges::find(named, s) == named.end()) named.push_back(s);
  }
  std::ranges::sort(named);
  return named;
}

/// The main that was timed most surely among those that stayed: one is enough.
std::optional<std::size_t> best_reference(const Calibration& calibration, std::span<const std::size_t> named) {
  std::optional<std::size_t> best;
  double least = 0.0;
  for (std::size_t s = 0; s < calibration.speakers.size(); ++s) {
    const SpeakerResult& speaker = calibration.speakers[s];
    const bool serves = speaker.kind == SpeakerKind::main && speaker.status == Status::ok &&
                        speaker.settings.delay_ms && std::ranges::find(named, s) == named.end();
    if (!serves) continue;
    const double unsure = speaker.measured.positions.front().arrival_uncertainty_ms.value_or(1.0);
    if (best && unsure >= least) continue;
    best = s;
    least = unsure;
  }
  return best;
}

/// What is played where ringtrue plays itself: the named speakers and a reference; everything when none is named.
std::vector<std::string> to_play(const Rig& rig, const Calibration& against, const RecheckOptions& options,
                                 std::span<const std::size_t> named) {
  if (named.empty()) return {};
  std::vector<std::string> labels = options.speakers;
  for (const std::string& label : options.references) {
    labels.push_back(rig.speakers[index_of(rig, label, "--reference")].label);
  }
  if (!options.references.empty()) return labels;
  const auto reference = best_reference(against, named);
  if (!reference) {
    throw InvalidInput{"--speaker", "no other speaker with settings is left to measure against",
                       "name fewer speakers, or calibrate again"};
  }
  labels.push_back(rig.speakers[*reference].label);
  return labels;
}

std::vector<std::string> files_of(bool renewed) {
  if (renewed)
    return {"impulse-responses", "report.html",  "places.html",     "sheet.txt",
            "recheck.txt",       "recheck.json", "calibration.json"};
  return {"recheck.txt", "recheck.json"};
}

void publish(const OutputFolder& out, const Recheck& result, const std::string& text, const std::string& json,
             bool renewed) {
  out.publish([&](const std::filesystem::path& folder) {
    write_text_atomically(folder / "recheck.txt", text);
    write_text_atomically(folder / "recheck.json", json);
    if (!renewed) return;
    write_impulse_responses(folder / "impulse-responses", result.calibration.rig, result.positions);
    write_text_atomically(folder / "calibration.json", format_calibration(result.calibration));
    write_text_atomically(folder / "sheet.txt", format_sheet(read_calibration(folder)));  // as export shows it later
    write_pages(folder);
  });
}

void check_options(const CLI::App& command, const RecheckOptions& options) {
  check_source_options(command, options.source);
  if (!options.speakers.empty() && options.out.empty()) {
    throw CLI::ValidationError{"--out is required: the folder for the new calibration"};
  }
  if (!options.settings.empty() && options.source.virtual_room.empty()) {
    throw CLI::ValidationError{"--settings is for --virtual: a recording has its own"};
  }
  if (!options.references.empty() && options.speakers.empty()) {
    throw CLI::ValidationError{"--reference goes with --speaker: without it everything is played"};
  }
}

std::vector<std::size_t> played_speakers(const Rig& rig, const std::vector<std::string>& labels) {
  std::vector<std::size_t> played;
  for (std::size_t s = 0; s < rig.speakers.size(); ++s) {
    if (labels.empty() || std::ranges::find(labels, rig.speakers[s].label) != labels.end()) played.push_back(s);
  }
  return played;
}

int run(const CLI::App& command, RecheckOptions options) {
  check_options(command, options);
  const Rig rig = read_rig(options.rig);
  const SavedCalibration saved = read_saved_calibration(options.against);
  require_same_speakers(rig, saved.calibration, options.against);
  const auto named = named_speakers(rig, options);
  std::optional<MicrophoneFile> microphone;
  if (command.count("--mic-response") > 0) microphone = read_microphone_response(options.mic_response);
  std::optional<OutputFolder> out;
  if (!options.out.empty()) out.emplace(options.out, options.overwrite, files_of(!named.empty()));
  if (!options.settings.empty()) options.source.typed_in = settings_of(read_calibration(options.settings));

  options.source.only = options.source.recordings.empty() ? to_play(rig, saved.calibration, options, named)
                                                          : speakers_in_stimulus(rig, options.source.stimulus);
  std::vector<PositionMeasurement> measurements;
  {
    Progress progress = progress_on_stderr();
    measurements = measure_source(rig, options.source, progress, microphone ? &microphone->response : nullptr);
  }
  Recheck result =
      recheck(saved.calibration, saved.positions, measurements, named, played_speakers(rig, options.source.only));
  result.calibration.date = options.date;
  const std::string json = format_recheck(result);
  const std::string text = format_recheck_sheet(result);
  if (out) publish(*out, result, text, json, !named.empty());
  print_result(options.json ? json : text);
  return needs_attention(result.findings) ? needs_eyes : done;
}

}  // namespace

Command add_recheck_command(CLI::App& program) {
  const auto options = std::make_shared<RecheckOptions>();
  CLI::App& command = *program.add_subcommand("recheck", "after a move: its new values; or what has drifted");
  command.add_option("rig", options->rig, "the rig")->option_text("RIG.toml")->required();
  command.add_option("--against", options->against, "the calibration that holds so far")
      ->option_text("calibration.json")
      ->required();
  command.add_option("--speaker", options->speakers, "which speaker was moved (repeat the option for more)")
      ->option_text("LABEL")
      ->allow_extra_args(false);
  command.add_option("--out", options->out, "the folder for the results")->option_text("FOLDER");
  add_source_options(command, options->source);
  command
      .add_option("--reference", options->references,
                  "which speaker that stayed is played too; default: the one that was timed most surely")
      ->option_text("LABEL")
      ->allow_extra_args(false);
  command
      .add_option("--settings", options->settings, "a calibration whose settings are typed into the virtual interface")
      ->option_text("FILE")
      ->group("Or a simulated room");
  command.add_option("--mic-response", options->mic_response, "as for calibrate: the same file as then")
      ->option_text("FILE");
  add_date_option(command, options->date);
  command.add_flag("--overwrite", options->overwrite, "replace the results that are in the folder");
  command.add_flag("--json", options->json, "print the re-check as JSON instead of the table");
  command.footer(recheck_footer);
  return {&command, [options, &command] { return run(command, *options); }};
}

}  // namespace ringtrue::app
