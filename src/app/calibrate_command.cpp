#include <fmt/format.h>

#include <algorithm>
#include <iterator>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "command.hpp"
#include "console.hpp"
#include "output_folder.hpp"
#include "program.hpp"
#include "progress.hpp"
#include "ringtrue/calibration/calibrate.hpp"
#include "ringtrue/calibration/calibration_json.hpp"
#include "ringtrue/capture/atomic_file.hpp"
#include "ringtrue/capture/microphone_response_file.hpp"
#include "ringtrue/core/errors.hpp"
#include "ringtrue/report/bass_picture.hpp"
#include "ringtrue/report/impulse_responses.hpp"
#include "ringtrue/report/report_page.hpp"
#include "ringtrue/report/sheet.hpp"
#include "ringtrue/rig/rig_file.hpp"
#include "source.hpp"

namespace ringtrue::app {
namespace {

struct Options {
  std::string rig;
  std::string out;
  SourceOptions source;
  std::string mic_response;
  bool suggest_crossover = false;
  std::vector<double> crossovers_hz;
  bool overwrite = false;
  bool json = false;
};

constexpr const char* footer =
    R"(Measures each speaker and says what to type into the interface, output by
output: the delay in ms and the trim in dB to set, rounded to the interface's
steps, and whether to invert the polarity. The folder given with --out gets
  calibration.json     the result for programs, with uncertainties and findings
  sheet.txt            the result for people, as shown on the terminal
  report.html          the result as a page: settings, findings, charts
  bass.svg             with bass management: each main with the sub, before and
                       after, as a picture for the browser
  impulse-responses/   each speaker's response, one channel per mic position
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
std::optional<MicrophoneFile> microphone_of(const CLI::App& command, const Options& options) {
  if (command.count("--mic-response") == 0) return std::nullopt;
  return read_microphone_response(options.mic_response);
}

/// The frequencies given with --crossovers, ascending. Their bounds are those of crossover_hz in a rig.
std::vector<double> offered_crossovers_hz(const Options& options) {
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

void require_bass_management(const Rig& rig, const Options& options) {
  if (!options.suggest_crossover || rig.bass_management) return;
  throw InvalidInput{"--suggest-crossover", "the rig has no [bass_management]",
                     "add that table to " + options.rig + " if the interface can send the mains' lows to the sub"};
}

int run(const CLI::App& command, const Options& options) {
  check_source_options(command, options.source);
  const std::vector<double> crossovers_hz = offered_crossovers_hz(options);
  SourceOptions source = options.source;
  source.takes_folder = std::filesystem::path{options.out} / "takes";
  source.overwrite = options.overwrite;
  const Rig rig = read_rig(options.rig);
  require_bass_management(rig, options);
  const auto microphone = microphone_of(command, options);
  const OutputFolder out{options.out,
                         options.overwrite,
                         {"impulse-responses", "report.html", "sheet.txt", "bass.svg", "calibration.json"}};

  const auto measurements = measure_with_progress(rig, source, microphone ? &microphone->response : nullptr);
  Calibration calibration =
      calibrate(rig, measurements, {.suggest_crossover = options.suggest_crossover, .crossovers_hz = crossovers_hz});
  if (microphone) std::ranges::copy(microphone->notes, std::back_inserter(calibration.findings));
  const std::string json = format_calibration(calibration);
  const std::string sheet = format_sheet(calibration);
  const std::string bass = draw_bass_picture(calibration);

  out.publish([&](const std::filesystem::path& folder) {
    write_impulse_responses(folder / "impulse-responses", rig, measurements);
    write_text_atomically(folder / "report.html", format_report_page(calibration, measurements));
    write_text_atomically(folder / "sheet.txt", sheet);
    if (!bass.empty()) write_text_atomically(folder / "bass.svg", bass);
    write_text_atomically(folder / "calibration.json", json);
  });
  print_result(options.json ? json : sheet);
  return needs_attention(calibration.findings) ? needs_eyes : done;
}

}  // namespace

Command add_calibrate_command(CLI::App& program) {
  const auto options = std::make_shared<Options>();
  CLI::App& command = *program.add_subcommand("calibrate", "from recordings to the settings to type in");
  command.add_option("rig", options->rig, "the rig")->option_text("RIG.toml")->required();
  command.add_option("--out", options->out, "the folder for the results")->option_text("FOLDER")->required();
  add_source_options(command, options->source);
  command.add_option("--mic-response", options->mic_response, "the microphone's own response, to be taken out")
      ->option_text("FILE");
  command.add_flag("--suggest-crossover", options->suggest_crossover,
                   "also try the crossover frequencies from 40 to 200 Hz and say which suits these speakers best");
  command.add_option("--crossovers", options->crossovers_hz, "those the interface offers, to be tried instead")
      ->option_text("HZ,HZ,...")
      ->delimiter(',');
  command.add_flag("--overwrite", options->overwrite, "replace the results that are in the folder");
  command.add_flag("--json", options->json, "print the calibration as JSON instead of the sheet");
  command.footer(footer);
  return {&command, [options, &command] { return run(command, *options); }};
}

}  // namespace ringtrue::app
