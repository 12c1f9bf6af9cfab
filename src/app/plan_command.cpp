#include <memory>

#include "command.hpp"
#include "console.hpp"
#include "output_files.hpp"
#include "plan_request.hpp"
#include "program.hpp"
#include "ringtrue/calibration/calibration.hpp"
#include "ringtrue/report/plan_sheet.hpp"
#include "ringtrue/report/text_layout.hpp"
#include "ringtrue/rig/rig_file.hpp"

namespace ringtrue::app {
namespace {

struct PlanCommandOptions {
  PlanOptions plan;
  std::string out;
  std::string page;
  bool overwrite = false;
  bool json = false;
};

std::string plan_footer() {
  return R"(Says where each loudspeaker of a layout stands, which cables and stands that
takes, which output it is patched to, and writes the rig for 'calibrate'. In a
room that is too small the ring becomes smaller, single speakers come nearer or
turn inside the range the standard allows; the sheet says what had to give.
The exit status is 1 when a speaker has no place inside its range.

Layouts:
)" + known_layouts() +
         R"(
Examples:
  ringtrue plan 7.1.4 --out rig.toml --room 5.2x4.4x2.6 --page plan.html
  ringtrue plan 7.1.4 --out rig.toml --speaker Lw:60:0 --speaker Rw:-60:0
  ringtrue plan custom --out rig.toml --speaker A:45:0 --speaker B:-45:0)";
}

std::vector<std::filesystem::path> paths(const PlanCommandOptions& options) {
  if (options.page.empty()) return {options.out};
  return {options.page, options.out};
}

void write(const PlanCommandOptions& options, const Plan& plan) {
  std::vector<OutputFile> files;
  if (!options.page.empty()) files.push_back({options.page, format_plan_page(plan)});
  files.push_back({options.out, format_rig(rig_of(plan))});
  write_output_files(files);
}

std::string next_steps(const PlanCommandOptions& options) {
  const std::string written = options.page.empty() ? options.out : options.out + " and " + options.page;
  return '\n' + text::wrapped("Written: " + text::printable(written) +
                              ". Edit the rig's [interface] to what your interface can do, then: ringtrue stimulus " +
                              text::printable(options.out) + " --out stimulus.wav");
}

int run(const PlanCommandOptions& options) {
  const PlanRequest request = plan_request(options.plan);
  check_output_files(paths(options), options.overwrite);
  const Plan plan = make_plan(request);
  write(options, plan);
  print_result(options.json ? format_plan_json(plan) : format_plan_sheet(plan) + next_steps(options));
  return needs_attention(plan.findings) ? needs_eyes : done;
}

}  // namespace

Command add_plan_command(CLI::App& program) {
  const auto options = std::make_shared<PlanCommandOptions>();
  CLI::App& command = *program.add_subcommand("plan", "where the speakers go, which cables; writes the rig");
  add_plan_options(command, options->plan);
  command.add_option("--out", options->out, "the rig to write")->option_text("RIG.toml")->required();
  command.add_option("--page", options->page, "write the plan as a page, too, with drawings to scale")
      ->option_text("HTML");
  command.add_flag("--overwrite", options->overwrite, "replace files of these names");
  command.add_flag("--json", options->json, "print the plan as JSON instead of the sheet");
  command.footer(plan_footer());
  return {&command, [options] { return run(*options); }};
}

}  // namespace ringtrue::app
