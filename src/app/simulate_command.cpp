#include <fmt/format.h>

#include <memory>

#include "calibration_folder.hpp"
#include "command.hpp"
#include "console.hpp"
#include "output_folder.hpp"
#include "program.hpp"
#include "progress.hpp"
#include "ringtrue/capture/virtual_room.hpp"
#include "ringtrue/capture/wav_file.hpp"
#include "ringtrue/rig/rig_file.hpp"

namespace ringtrue::app {
namespace {

struct SimulateOptions {
  std::string rig;
  std::string virtual_room;
  std::string stimulus;
  std::string out;
  std::string settings;
  unsigned threads = 0;
  bool overwrite = false;
};

constexpr const char* simulate_footer =
    R"(Writes what a microphone in the simulated room would have recorded, one 32-bit
float WAV per mic position of the rig: position1.wav, position2.wav, ...
Channel 1 is the microphone; channel 2 is the loopback where the room has one.
To learn the work without a room, and to try what a fault looks like.

Example:
  ringtrue stimulus rig.toml --out stimulus.wav
  ringtrue simulate rig.toml --virtual room.toml --stimulus stimulus.wav \
      --out takes
  ringtrue calibrate rig.toml --out results --stimulus stimulus.wav \
      --recording takes/position1.wav)";

std::vector<std::string> file_names(const Rig& rig) {
  std::vector<std::string> names;
  for (std::size_t i = 0; i < rig.positions.size(); ++i) names.push_back(fmt::format("position{}.wav", i + 1));
  return names;
}

void write_recording(const std::filesystem::path& path, Recording recording) {
  std::vector<std::vector<float>> channels;
  channels.push_back(std::move(recording.microphone));
  if (!recording.loopback.empty()) channels.push_back(std::move(recording.loopback));
  write_wav(path, recording.sample_rate_hz, channels);
}

void simulate(const SimulateOptions& options, const Rig& rig, const OutputFolder& out) {
  VirtualRoom room = read_virtual_room(options.virtual_room, rig);
  if (!options.settings.empty()) {
    const Calibration calibration = read_calibration(options.settings);
    require_same_speakers(rig, calibration, options.settings);
    room.typed_in = settings_of(calibration);
  }
  const Stimulus stimulus = read_stimulus(options.stimulus, rig);
  const auto names = file_names(rig);
  Progress progress = progress_on_stderr();
  out.publish([&](const std::filesystem::path& folder) {
    for (std::size_t i = 0; i < names.size(); ++i) {
      progress.now(fmt::format("position {} of {}: playing in the virtual room", i + 1, names.size()));
      write_recording(folder / names[i], capture(room, rig, stimulus, i, options.threads));
    }
  });
}

int run(const SimulateOptions& options) {
  const Rig rig = read_rig(options.rig);
  const OutputFolder out{options.out, options.overwrite, file_names(rig)};
  simulate(options, rig, out);
  for (const auto& name : file_names(rig)) print_result((std::filesystem::path{options.out} / name).string() + '\n');
  return done;
}

}  // namespace

Command add_simulate_command(CLI::App& program) {
  const auto options = std::make_shared<SimulateOptions>();
  CLI::App& command = *program.add_subcommand("simulate", "record a stimulus in a simulated room, as WAV files");
  command.add_option("rig", options->rig, "the rig")->option_text("RIG.toml")->required();
  command.add_option("--virtual", options->virtual_room, "the room")->option_text("ROOM.toml")->required();
  command.add_option("--stimulus", options->stimulus, "what is played")->option_text("WAV")->required();
  command.add_option("--settings", options->settings, "a calibration whose settings are typed into the interface")
      ->option_text("calibration.json");
  command.add_option("--out", options->out, "the folder for the recordings")->option_text("FOLDER")->required();
  command.add_option("--threads", options->threads, "how many threads, 0: one per core")
      ->check(CLI::Range(0, 1024))
      ->option_text("N")
      ->capture_default_str();
  command.add_flag("--overwrite", options->overwrite, "replace recordings that are in the folder");
  command.footer(simulate_footer);
  return {&command, [options] { return run(*options); }};
}

}  // namespace ringtrue::app
