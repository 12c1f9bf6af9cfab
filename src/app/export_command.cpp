#include <memory>

#include "command.hpp"
#include "console.hpp"
#include "program.hpp"
#include "ringtrue/calibration/calibration_json.hpp"
#include "ringtrue/capture/atomic_file.hpp"
#include "ringtrue/core/errors.hpp"
#include "ringtrue/report/sheet.hpp"

namespace ringtrue::app {
namespace {

struct Options {
  std::string calibration;
  std::string kind;
  std::string out;
};

constexpr std::size_t largest_calibration_bytes = std::size_t{64} << 20;

constexpr const char* footer =
    R"(The sheet is plain text of 80 columns; JSON is the calibration in the form of
this version of the program. The exit status is 1 when the calibration holds a
finding that needs your eyes.

Examples:
  ringtrue export results/calibration.json --as sheet
  ringtrue export results/calibration.json --as sheet --out sheet.txt)";

void write(const Options& options, const std::string& text) {
  std::error_code error;
  if (std::filesystem::equivalent(options.calibration, options.out, error)) {
    throw InvalidInput{options.out, "the export would replace the calibration", "give another name with --out"};
  }
  write_text_atomically(options.out, text);
}

int run(const Options& options) {
  const std::string text = read_text_file(options.calibration, largest_calibration_bytes);
  const Calibration calibration = parse_calibration(text, options.calibration);
  const std::string exported = options.kind == "json" ? format_calibration(calibration) : format_sheet(calibration);
  if (options.out.empty()) {
    print_result(exported);
  } else {
    write(options, exported);
  }
  return needs_attention(calibration.findings) ? needs_eyes : done;
}

}  // namespace

Command add_export_command(CLI::App& program) {
  const auto options = std::make_shared<Options>();
  CLI::App& command = *program.add_subcommand("export", "show a saved calibration in another form");
  command.add_option("calibration", options->calibration, "what 'ringtrue calibrate' saved")
      ->option_text("calibration.json")
      ->required();
  command.add_option("--as", options->kind, "the form: sheet or json")
      ->option_text("KIND")
      ->check(CLI::IsMember({"sheet", "json"}))
      ->required();
  command.add_option("--out", options->out, "the file to write instead of the terminal")->option_text("FILE");
  command.footer(footer);
  return {&command, [options] { return run(*options); }};
}

}  // namespace ringtrue::app
