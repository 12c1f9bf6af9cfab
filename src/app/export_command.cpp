#include <CLI/CLI.hpp>
#include <filesystem>
#include <map>
#include <memory>

#include "calibration_folder.hpp"
#include "command.hpp"
#include "console.hpp"
#include "program.hpp"
#include "ringtrue/calibration/calibration_json.hpp"
#include "ringtrue/calibration/correction_firs.hpp"
#include "ringtrue/capture/atomic_file.hpp"
#include "ringtrue/core/errors.hpp"
#include "ringtrue/report/fir_files.hpp"
#include "ringtrue/report/impulse_responses.hpp"
#include "ringtrue/report/report_page.hpp"
#include "ringtrue/report/settings_table.hpp"
#include "ringtrue/report/sheet.hpp"

namespace ringtrue::app {
namespace {

namespace fs = std::filesystem;

struct ExportOptions {
  std::string calibration;
  std::string kind;
  std::string out;
  DelayUnit delay_unit = DelayUnit::milliseconds;
  std::string locale = "C";
  std::string date;
  std::size_t taps = 4'096;
  bool list = false;
};

constexpr const char* export_footer =
    R"(  sheet  plain text of 80 columns; with --list one line a value, to tick off
  csv    one row a setting, numbers as numbers, for a spreadsheet
  json   the calibration in the form of this version of the program
  html   the page with all pictures, one file that needs no network
  fir    a folder with one impulse response per output (mono 32-bit float WAV at
         the interface's rate), for those who convolve in place of filters
The exit status is 1 when the calibration holds a finding that needs your eyes.

Examples:
  ringtrue export results/calibration.json --as sheet --list --delay-unit m
  ringtrue export results/calibration.json --as csv --locale de --out rig.csv
  ringtrue export results/calibration.json --as html --out page.html)";

void refuse_to_replace(const ExportOptions& options) {
  std::error_code error;
  if (!fs::equivalent(options.calibration, options.out, error)) return;
  throw InvalidInput{options.out, "the export would replace the calibration", "give another name with --out"};
}

/// The responses beside the calibration; none where they are gone.
std::vector<PositionMeasurement> saved_responses(const ExportOptions& options, const Rig& rig) {
  return read_impulse_responses(fs::path{options.calibration}.parent_path() / "impulse-responses", rig);
}

void export_firs(const ExportOptions& options, const Calibration& calibration) {
  if (options.out.empty()) {
    throw InvalidInput{"--as fir", "needs a folder for its files", "name one with --out"};
  }
  refuse_to_replace(options);
  write_firs(options.out, calibration.rig,
             correction_firs(calibration, options.taps, saved_responses(options, calibration.rig)));
}

std::string exported_text(const ExportOptions& options, const Calibration& calibration) {
  const SettingsTableOptions table{options.delay_unit, has_decimal_comma(options.locale)};
  if (options.kind == "json") return format_calibration(calibration);
  if (options.kind == "csv") return format_settings_csv(calibration, table);
  if (options.kind == "html") {
    return format_report_page(calibration, saved_responses(options, calibration.rig), {options.date});
  }
  if (options.list) return format_typing_list(calibration, table);
  const std::string sheet = format_sheet(calibration);
  if (!table.decimal_comma) return sheet;
  const std::size_t title = sheet.find('\n');  // the rig's name and layout are names
  return sheet.substr(0, title) + with_decimal_commas(std::string_view{sheet}.substr(title));
}

int run(const ExportOptions& options) {
  const std::string text = read_text_file(options.calibration, largest_calibration_bytes);
  const Calibration calibration = parse_calibration(text, options.calibration);
  if (options.kind == "fir") {
    export_firs(options, calibration);
  } else if (const std::string exported = exported_text(options, calibration); options.out.empty()) {
    print_result(exported);
  } else {
    refuse_to_replace(options);
    write_text_atomically(options.out, exported);
  }
  return needs_attention(calibration.findings) ? needs_eyes : done;
}

}  // namespace

Command add_export_command(CLI::App& program) {
  const auto options = std::make_shared<ExportOptions>();
  CLI::App& command = *program.add_subcommand("export", "show a saved calibration in another form");
  command.add_option("calibration", options->calibration, "what 'ringtrue calibrate' saved")
      ->option_text("calibration.json")
      ->required();
  command.add_option("--as", options->kind, "the form: sheet, csv, json, html or fir")
      ->option_text("KIND")
      ->check(CLI::IsMember({"sheet", "csv", "json", "html", "fir"}))
      ->required();
  command.add_option("--out", options->out, "the file to write instead of the terminal; for fir: the folder")
      ->option_text("PATH");
  command.add_flag("--list", options->list, "of the sheet: a list to tick off, one line a value");
  const std::map<std::string, DelayUnit> units{{"ms", DelayUnit::milliseconds},
                                               {"samples", DelayUnit::samples},
                                               {"m", DelayUnit::metres},
                                               {"ft", DelayUnit::feet}};
  command.add_option("--delay-unit", options->delay_unit, "of csv and list: ms, samples, m or ft")
      ->option_text("UNIT")
      ->transform(CLI::CheckedTransformer(units));
  command.add_option("--locale", options->locale, "of sheet, list and csv: de, fr, en ...: decimal comma or point")
      ->option_text("NAME");
  command.add_option("--date", options->date, "of html: a date to stand on the page")->option_text("TEXT");
  command.add_option("--taps", options->taps, "of fir: how long the impulse responses are")
      ->option_text("N")
      ->check(CLI::Range(256, 65'536))
      ->capture_default_str();
  command.footer(export_footer);
  return {&command, [options] { return run(*options); }};
}

}  // namespace ringtrue::app
