#include <algorithm>
#include <memory>
#include <optional>

#include "calibration_folder.hpp"
#include "command.hpp"
#include "console.hpp"
#include "output_folder.hpp"
#include "program.hpp"
#include "progress.hpp"
#include "ringtrue/calibration/verification.hpp"
#include "ringtrue/capture/atomic_file.hpp"
#include "ringtrue/capture/microphone_response_file.hpp"
#include "ringtrue/core/errors.hpp"
#include "ringtrue/report/impulse_responses.hpp"
#include "ringtrue/report/verification_sheet.hpp"
#include "ringtrue/rig/rig_file.hpp"
#include "source.hpp"

namespace ringtrue::app {
namespace {

struct VerifyOptions {
  std::string rig;
  std::string against;
  std::string out;
  SourceOptions source;
  std::string settings;
  std::string mic_response;
  VerifyTolerances tolerances;
  bool overwrite = false;
  bool json = false;
};

constexpr const char* verify_footer =
    R"(Type in what the sheet says, measure once more with the settings active and the
microphone where it was, and verify says whether every value has arrived: each
speaker's delay, level, polarity and response, and what it makes together with
the sub. What is off is named, with the slip of the hand that would explain it.
The folder given with --out gets
  verification.json    the result for programs
  verification.txt     the result for people, as shown on the terminal
  impulse-responses/   each speaker's response as it is now

The responses that were saved with the calibration must lie beside it. The
interface's bass management may be off or on. A virtual room's interface is set
as the calibration says, unless --settings names another calibration whose
settings are typed in, or is 'none'.

Exit status: 0 everything passes, 1 something does not.

Example:
  ringtrue verify rig.toml --against results/calibration.json --out verified \
      --stimulus stimulus.wav --recording typed-in.wav)";

std::optional<MicrophoneFile> microphone_of(const CLI::App& command, const VerifyOptions& options) {
  if (command.count("--mic-response") == 0) return std::nullopt;
  return read_microphone_response(options.mic_response);
}

/// What is typed into the virtual room's interface.
std::vector<OutputSettings> typed_in(const VerifyOptions& options, const Calibration& against) {
  if (options.settings == "none") return {};
  return settings_of(options.settings.empty() ? against : read_calibration(options.settings));
}

std::vector<PositionMeasurement> measure_with_progress(const Rig& rig, const SourceOptions& source,
                                                       const MicrophoneResponse* microphone) {
  Progress progress = progress_on_stderr();
  return measure_source(rig, source, progress, microphone);
}

int failing(const Verification& verification) {
  return static_cast<int>(std::ranges::count(verification.speakers, Verdict::fail, &SpeakerVerdict::verdict));
}

int run(const CLI::App& command, VerifyOptions options) {
  check_source_options(command, options.source);
  if (command.count("--settings") > 0 && options.source.virtual_room.empty()) {
    throw CLI::ValidationError{"--settings is for --virtual: a recording has its own"};
  }
  const Rig rig = read_rig(options.rig);
  const SavedCalibration saved = read_saved_calibration(options.against);
  require_same_speakers(rig, saved.calibration, options.against);
  const auto microphone = microphone_of(command, options);
  const OutputFolder out{
      options.out, options.overwrite, {"impulse-responses", "verification.txt", "verification.json"}};

  options.source.typed_in = typed_in(options, saved.calibration);
  const MicrophoneResponse* const response = microphone ? &microphone->response : nullptr;
  const PositionMeasurement* const before = saved.positions.empty() ? nullptr : &saved.positions.front();
  auto measurements = measure_with_progress(rig, options.source, response);
  Verification verification = verify(saved.calibration, before, measurements.front(), options.tolerances);
  if (2 * failing(verification) > static_cast<int>(rig.speakers.size()) && !options.source.virtual_room.empty() &&
      options.settings.empty()) {  // a virtual room whose speakers already have the delays and gains of the sheet
    options.source.typed_in.clear();
    auto as_it_is = measure_with_progress(rig, options.source, response);
    Verification other = verify(saved.calibration, before, as_it_is.front(), options.tolerances);
    if (failing(other) < failing(verification)) {
      measurements = std::move(as_it_is);
      verification = std::move(other);
    }
  }
  const std::string json = format_verification(verification);
  const std::string sheet = format_verification_sheet(verification);
  out.publish([&](const std::filesystem::path& folder) {
    write_impulse_responses(folder / "impulse-responses", rig, measurements);
    write_text_atomically(folder / "verification.txt", sheet);
    write_text_atomically(folder / "verification.json", json);
  });
  print_result(options.json ? json : sheet);
  return verification.passed ? done : needs_eyes;
}

void add_tolerance_options(CLI::App& command, VerifyTolerances& tolerances) {
  constexpr const char* group = "How far a value may be off (more where the measurement is less sure)";
  const auto add = [&](const char* name, double& value, const char* unit, const char* what) {
    command.add_option(name, value, what)
        ->check(CLI::Range(0.0, 100.0))
        ->option_text(unit)
        ->capture_default_str()
        ->group(group);
  };
  add("--delay-tolerance", tolerances.delay_ms, "MS", "of a delay, against the other speakers");
  add("--level-tolerance", tolerances.level_db, "DB", "of a level, against the other speakers");
  add("--response-tolerance", tolerances.response_db, "DB", "of any third octave of a response");
  add("--bass-tolerance", tolerances.bass_db, "DB",
      "of a main together with the sub, an octave each side of the crossover");
}

}  // namespace

Command add_verify_command(CLI::App& program) {
  const auto options = std::make_shared<VerifyOptions>();
  CLI::App& command = *program.add_subcommand("verify", "with the settings typed in: does the room now pass?");
  command.add_option("rig", options->rig, "the rig")->option_text("RIG.toml")->required();
  command.add_option("--against", options->against, "the calibration whose settings were typed in")
      ->option_text("calibration.json")
      ->required();
  command.add_option("--out", options->out, "the folder for the results")->option_text("FOLDER")->required();
  add_source_options(command, options->source);
  command
      .add_option("--settings", options->settings,
                  "what is typed into the virtual interface instead: another calibration, or 'none'")
      ->option_text("FILE")
      ->group("Or a simulated room");
  add_tolerance_options(command, options->tolerances);
  command.add_option("--mic-response", options->mic_response, "as for calibrate: the same file as then")
      ->option_text("FILE");
  command.add_flag("--overwrite", options->overwrite, "replace the results that are in the folder");
  command.add_flag("--json", options->json, "print the verification as JSON instead of the table");
  command.footer(verify_footer);
  return {&command, [options, &command] { return run(command, *options); }};
}

}  // namespace ringtrue::app
