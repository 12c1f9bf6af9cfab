#include "program.hpp"

#include <cstdio>
#include <exception>
#include <memory>
#include <new>
#include <string>
#include <vector>

#include "command.hpp"
#include "console.hpp"
#include "help_page.hpp"
#include "ringtrue/core/errors.hpp"
#include "ringtrue/device/device_process.hpp"
#include "ringtrue/device/stop_request.hpp"

namespace ringtrue::app {
namespace {

constexpr const char* description =
    "ringtrue measures a ring of loudspeakers at the listening position and says which delays, trims and "
    "polarities to type into the audio interface.";

constexpr const char* program_footer =
    R"(The whole job with any player and recorder:
  ringtrue plan 7.1.4 --out rig.toml --room 5.2x4.4x2.6
  ringtrue stimulus rig.toml --out stimulus.wav
  (play stimulus.wav on all outputs, record the microphone as position1.wav)
  ringtrue calibrate rig.toml --out results --stimulus stimulus.wav \
      --recording position1.wav

Exit status: 0 done, nothing wrong found; 1 done, but a finding needs your
eyes; 2 bad usage or bad input, nothing written; 3 the audio device failed.
'ringtrue COMMAND --help' explains a command.)";

/// "ringtrue stimulus": what a usage error and its remedy call the part of the program that was asked for.
std::string asked_for(const CLI::App& program) {
  const auto parsed = program.get_subcommands();
  return parsed.empty() ? "ringtrue" : "ringtrue " + parsed.front()->get_name();
}

int report_usage_error(const CLI::App& program, const CLI::ParseError& error) {
  const std::string who = asked_for(program);
  print_error(who + ": " + error.what() + "; see '" + who + " --help'");
  return bad_input;
}

int read_and_run(CLI::App& program, const std::vector<Command>& commands, int argc, const char* const* argv) {
  try {
    program.parse(argc, argv);
    for (const auto& command : commands) {
      if (command.parser->parsed()) return command.run();
    }
    print_error("ringtrue: no command was given; see 'ringtrue --help'");
    return bad_input;
  } catch (const CLI::Success& asked) {  // --help or --version
    return program.exit(asked);
  } catch (const CLI::ParseError& error) {
    return report_usage_error(program, error);
  }
}

int run_or_throw(int argc, const char* const* argv) {
  CLI::App program{description, "ringtrue"};
  program.formatter(std::make_shared<HelpPage>());
  program.footer(program_footer);
  program.require_subcommand(0, 1);
  program.set_version_flag("--version", "ringtrue " RINGTRUE_VERSION);
  const std::vector<Command> commands{
      add_plan_command(program),     add_devices_command(program),  add_linecheck_command(program),
      add_level_command(program),    add_stimulus_command(program), add_calibrate_command(program),
      add_verify_command(program),   add_recheck_command(program),  add_export_command(program),
      add_simulate_command(program), add_history_command(program)};
  return read_and_run(program, commands, argc, argv);
}

}  // namespace

int run_program(int argc, const char* const* argv) noexcept {
  if (argc == 2 && argv[1] == device_process_word) return run_device_process();
  try {
    return run_or_throw(argc, argv);
  } catch (const Stopped&) {
    std::fputs("ringtrue: stopped as you asked; finished takes are kept, go on with --resume\n", stderr);
    return stopped;
  } catch (const DeviceError& error) {
    print_error(std::string{"ringtrue: "} + error.what());
    return device_failed;
  } catch (const Error& error) {
    print_error(std::string{"ringtrue: "} + error.what());
  } catch (const std::bad_alloc&) {
    std::fputs("ringtrue: there is not enough memory; close other programs or measure fewer positions at once\n",
               stderr);
  } catch (const std::exception& error) {
    print_error(std::string{"ringtrue: something unforeseen went wrong ("} + error.what() +
                "); please report it with the command you gave");
  } catch (...) {
    std::fputs("ringtrue: something unforeseen went wrong; please report it with the command you gave\n", stderr);
  }
  return bad_input;
}

}  // namespace ringtrue::app
