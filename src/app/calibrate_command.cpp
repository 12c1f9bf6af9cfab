#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <iterator>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "command.hpp"
#include "console.hpp"
#include "date_option.hpp"
#include "output_folder.hpp"
#include "program.hpp"
#include "progress.hpp"
#include "ringtrue/calibration/calibrate.hpp"
#include "ringtrue/calibration/calibration_json.hpp"
#include "ringtrue/calibration/correction_firs.hpp"
#include "ringtrue/capture/atomic_file.hpp"
#include "ringtrue/capture/microphone_response_file.hpp"
#include "ringtrue/core/errors.hpp"
#include "ringtrue/report/fir_files.hpp"
#include "ringtrue/report/impulse_responses.hpp"
#include "ringtrue/report/room_text.hpp"
#include "ringtrue/report/sheet.hpp"
#include "ringtrue/report/text_layout.hpp"
#include "ringtrue/rig/rig_file.hpp"
#include "saved_page.hpp"
#include "source.hpp"

namespace ringtrue::app {
namespace {

struct CalibrateCommandOptions {
  std::string rig;
  std::string out;
  SourceOptions source;
  std::string mic_response;
  std::string target = "flat";
  double transition_hz = 0.0;
  double low_end_hz = 0.0;
  bool no_equaliser = false;
  int fir_taps = 0;
  std::string fir_phase = "minimum";
  std::vector<std::string> known_distances;
  std::string date;
  bool suggest_crossover = false;
  std::vector<double> crossovers_hz;
  bool overwrite = false;
  bool json = false;
};

constexpr const char* calibrate_footer =
    R"(Measures each speaker and says what to type into the interface, output by
output: the delay in ms and the trim in dB to set, rounded to the interface's
steps, whether to invert the polarity, and the filters of the equaliser where
the interface has one. The folder given with --out gets
  calibration.json     the result for programs, with uncertainties and findings
  sheet.txt            the result for people, as shown on the terminal
  report.html          the result as a page: settings, findings, charts
  fir/                 with --fir: what to load into each output
  room.txt             what an equaliser cannot mend: decay, reflections,
                       resonances, noise; and the speakers' distortion
  impulse-responses/   each speaker's response, one channel per mic position
  places.html          where the speakers stand, drawn to scale
  takes/               with --device: each position's recording, as it finishes

Measure with all delays and trims of the interface at 0. The recorder may start
up to 0.5 s before or after the player, and may be another device with a clock
and sample rate of its own.

The text file that came with the microphone, given with --mic-response, takes
the microphone's own colour out of every response and level. It has a line per
frequency, in any of the usual shapes: Hz, dB and, where known, phase in
degrees.

Examples:
  ringtrue calibrate rig.toml --out results --stimulus stimulus.wav \
      --recording position1.wav --recording position2.wav --loopback-channel 2
  ringtrue calibrate rig.toml --out results --device jack:room --yes
  ringtrue calibrate rig.toml --out results --virtual room.toml)";

std::vector<PositionMeasurement> measure_with_progress(const Rig& rig, const SourceOptions& source,
                                                       const MicrophoneResponse* microphone) {
  Progress progress = progress_on_stderr();
  return measure_source(rig, source, progress, microphone);
}

/// The microphone's file, where one was given. Its notes are findings like any other.
std::optional<MicrophoneFile> microphone_of(const CLI::App& command, const CalibrateCommandOptions& options) {
  if (command.count("--mic-response") == 0) return std::nullopt;
  return read_microphone_response(options.mic_response);
}

/// The frequencies given with --crossovers, ascending. Their bounds are those of crossover_hz in a rig.
std::vector<double> offered_crossovers_hz(const CalibrateCommandOptions& options) {
  constexpr double lowest_hz = 20.0;
  constexpr double highest_hz = 500.0;
  for (const double at_hz : options.crossovers_hz) {
    if (at_hz >= lowest_hz && at_hz <= highest_hz) continue;
    throw InvalidInput{"--crossovers", fmt::format("{:g} is outside 20 to 500 Hz", at_hz),
                       "give the frequencies the interface offers, for example 60,80,100,120"};
  }
  if (!options.crossovers_hz.empty() && !options.suggest_crossover) {
    throw InvalidInput{"--crossovers", "is only for --suggest-crossover", "add that, or leave --crossovers out"};
  }
  std::vector<double> sorted = options.crossovers_hz;
  std::ranges::sort(sorted);
  return sorted;
}

/// A target in words, or a file of Hz and dB like a microphone's.
TargetCurve target_of(const std::string& text) {
  if (const auto curve = parse_target(text)) return *curve;
  const MicrophoneResponse points = read_microphone_response(text).response;
  TargetCurve curve;
  curve.name = text;
  curve.points = TargetPoints{points.frequencies_hz, points.gains_db};
  return curve;
}

CorrectionOptions correction_of(const CLI::App& command, const CalibrateCommandOptions& options) {
  CorrectionOptions correction;
  correction.equaliser = !options.no_equaliser;
  correction.target = target_of(options.target);
  if (command.count("--transition") > 0) correction.transition_hz = options.transition_hz;
  if (command.count("--low-end") > 0) correction.low_end_hz = options.low_end_hz;
  correction.threads = options.source.threads;
  correction.fir_taps = options.fir_taps;
  correction.fir_mixed_phase = options.fir_phase == "mixed";
  return correction;
}

/// "L=2.05": a speaker and metres.
KnownDistance known_distance(const std::string& text) {
  const auto equals = text.rfind('=');
  double metres = 0.0;
  const char* const end = text.data() + text.size();
  const char* const begin = equals == std::string::npos ? end : text.data() + equals + 1;
  const auto [stopped, error] = std::from_chars(begin, end, metres);
  const bool is_number = error == std::errc{} && stopped == end && metres > 0.0 && metres <= 100.0;
  if (is_number && equals > 0) return {text.substr(0, equals), metres};
  throw InvalidInput{"--known-distance", '"' + text::printable(text.substr(0, 60)) + "\" is not a speaker and metres",
                     "write LABEL=METRES, from the ear point to its acoustic centre, e.g. L=2.05"};
}

CalibrateOptions calibrate_options(const CLI::App& command, const CalibrateCommandOptions& options) {
  CalibrateOptions result{.suggest_crossover = options.suggest_crossover,
                          .crossovers_hz = offered_crossovers_hz(options),
                          .correction = correction_of(command, options)};
  for (const std::string& text : options.known_distances) result.known_distances.push_back(known_distance(text));
  return result;
}

void require_bass_management(const Rig& rig, const CalibrateCommandOptions& options) {
  if (!options.suggest_crossover || !mains_full_range(rig)) return;
  if (rig.bass_management) {
    throw InvalidInput{"--suggest-crossover", "every sub of the rig is lfe_only: none plays the mains' lows",
                       "take lfe_only away in " + options.rig + " where the interface sends them to a sub"};
  }
  throw InvalidInput{"--suggest-crossover", "the rig has no [bass_management]",
                     "add that table to " + options.rig + " if the interface can send the mains' lows to the sub"};
}

int run(const CLI::App& command, const CalibrateCommandOptions& options) {
  check_source_options(command, options.source);
  SourceOptions source = options.source;
  source.takes_folder = std::filesystem::path{options.out} / "takes";
  source.overwrite = options.overwrite;
  // A session that goes on replaces its own results.
  const bool goes_on = (source.resume || source.again > 0) && std::filesystem::exists(source.takes_folder);
  const CalibrateOptions how = calibrate_options(command, options);
  const Rig rig = read_rig(options.rig);
  require_bass_management(rig, options);
  const auto microphone = microphone_of(command, options);
  const OutputFolder out{
      options.out,
      options.overwrite || goes_on,
      {"impulse-responses", "fir", "report.html", "places.html", "sheet.txt", "room.txt", "calibration.json"}};

  const auto measurements = measure_with_progress(rig, source, microphone ? &microphone->response : nullptr);
  Calibration calibration = calibrate(rig, measurements, how);
  calibration.date = options.date;
  if (microphone) std::ranges::copy(microphone->notes, std::back_inserter(calibration.findings));
  const std::string json = format_calibration(calibration);
  const std::string sheet = format_sheet(parse_calibration(json, "calibration.json"));  // as export shows it later
  const std::string room = format_room(calibration);

  out.publish([&](const std::filesystem::path& folder) {
    write_impulse_responses(folder / "impulse-responses", rig, measurements);
    if (options.fir_taps > 0) write_firs(folder / "fir", rig, correction_firs(calibration, 0, measurements));
    write_text_atomically(folder / "sheet.txt", sheet);
    write_text_atomically(folder / "room.txt", room);
    write_text_atomically(folder / "calibration.json", json);
    write_pages(folder);
  });
  print_result(options.json ? json : sheet);
  return needs_attention(calibration.findings) ? needs_eyes : done;
}

}  // namespace

Command add_calibrate_command(CLI::App& program) {
  const auto options = std::make_shared<CalibrateCommandOptions>();
  CLI::App& command = *program.add_subcommand("calibrate", "from recordings to the settings to type in");
  command.add_option("rig", options->rig, "the rig")->option_text("RIG.toml")->required();
  command.add_option("--out", options->out, "the folder for the results")->option_text("FOLDER")->required();
  add_source_options(command, options->source);
  command.add_option("--mic-response", options->mic_response, "the microphone's own response, to be taken out")
      ->option_text("FILE");
  command
      .add_option("--target", options->target,
                  "the response to aim at: flat (default), tilt=-0.8 (dB per octave), shelf=120:+4 (Hz:dB), both with "
                  "a comma, or a file of Hz and dB")
      ->option_text("TARGET");
  command
      .add_option("--transition", options->transition_hz,
                  "below it each speaker has its own, narrow filters, above it pairs share broad ones; default: from "
                  "the room's size and decay time")
      ->option_text("HZ")
      ->check(CLI::Range(50.0, 1'000.0));
  command
      .add_option("--low-end", options->low_end_hz,
                  "ask for a flat response down to here; default: as far down as each speaker goes by itself")
      ->option_text("HZ")
      ->check(CLI::Range(10.0, 500.0));
  auto* const none = command.add_flag("--no-equaliser", options->no_equaliser, "suggest no filters");
  auto* const fir = command
                        .add_option("--fir", options->fir_taps,
                                    "in place of filters one impulse response of so many taps per output, as mono "
                                    "32-bit float WAV files in the folder fir/ of the results")
                        ->option_text("TAPS")
                        ->check(CLI::Range(256, 65'536))
                        ->excludes(none);
  command
      .add_option("--fir-phase", options->fir_phase,
                  "minimum (default: no added delay), or mixed: also undoes the phase of the speakers' crossovers, for "
                  "3 ms more delay on all outputs")
      ->option_text("PHASE")
      ->check(CLI::IsMember({"minimum", "mixed"}))
      ->needs(fir);
  command
      .add_option("--known-distance", options->known_distances,
                  "a main's distance by tape, from the ear point to its acoustic centre (about the tweeter): gives all "
                  "distances without a loopback (repeat the option)")
      ->option_text("LABEL=METRES")
      ->allow_extra_args(false);
  command.add_flag(
      "--suggest-crossover", options->suggest_crossover,
      "also try the crossover frequencies from 40 to 200 Hz and say which suits these speakers best, for each "
      "group of mains with a crossover of its own");
  command.add_option("--crossovers", options->crossovers_hz, "those the interface offers, to be tried instead")
      ->option_text("HZ,HZ,...")
      ->delimiter(',');
  add_date_option(command, options->date);
  command.add_flag("--overwrite", options->overwrite, "replace the results that are in the folder");
  command.add_flag("--json", options->json, "print the calibration as JSON instead of the sheet");
  command.footer(calibrate_footer);
  return {&command, [options, &command] { return run(command, *options); }};
}

}  // namespace ringtrue::app
