#include "source.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <functional>

#include "decay_probe.hpp"
#include "live_source.hpp"
#include "rig_part.hpp"
#include "ringtrue/capture/virtual_room.hpp"
#include "ringtrue/capture/wav_file.hpp"
#include "ringtrue/core/errors.hpp"

namespace ringtrue::app {
namespace {

/// Recordings on demand: `take(i)` gives that of the rig's mic position i.
struct Source {
  Stimulus stimulus;
  std::size_t positions;
  std::function<Recording(std::size_t)> take;
};

/// @param whole  the rig that the room's file is about  @param rig  the part of it that is played
Source virtual_source(const Rig& whole, const Rig& rig, const SourceOptions& options) {
  VirtualRoom room = read_virtual_room(options.virtual_room, whole);
  room.typed_in = options.typed_in;
  StimulusOptions how = stimulus_options(options.excitation);
  if (how.interleave && !options.excitation.decay_seconds) {
    const auto take = [&](const Stimulus& probe) { return capture(room, rig, probe, 0, options.threads); };
    how.decay = probe_decay(rig, how, take).value_or(how.decay);
  }
  const Stimulus stimulus = plan_stimulus(rig, how);
  return {stimulus, rig.positions.size(),
          [=, &rig, threads = options.threads](std::size_t i) { return capture(room, rig, stimulus, i, threads); }};
}

Source file_source(const Rig& rig, const SourceOptions& options) {
  if (options.recordings.size() > rig.positions.size()) {
    throw InvalidInput{
        "--recording",
        fmt::format("{} recordings were given, but the rig has {} mic position{}", options.recordings.size(),
                    rig.positions.size(), rig.positions.size() == 1 ? "" : "s"),
        "add a [[position]] table per recording to the rig, or give fewer recordings"};
  }
  return {read_stimulus(options.stimulus, rig), options.recordings.size(), [&options](std::size_t i) {
            return read_recording(options.recordings[i], options.loopback_channel, options.input_channel);
          }};
}

void add_file_options(CLI::App& command, SourceOptions& options) {
  constexpr const char* group = "Either recordings that were made with any recorder";
  command.add_option("--stimulus", options.stimulus, "the file that was played, as 'ringtrue stimulus' wrote it")
      ->option_text("WAV")
      ->group(group);
  command
      .add_option("--recording", options.recordings,
                  "what the microphone heard, one per mic position in the rig's order (repeat the option)")
      ->option_text("WAV")
      ->allow_extra_args(false)
      ->group(group);
}

void add_device_options(CLI::App& command, SourceOptions& options) {
  constexpr const char* group = "Or an audio device that plays and records now";
  command.add_option("--device", options.device, "the device, by its name in 'ringtrue devices'")
      ->option_text("NAME")
      ->group(group);
  command
      .add_option("--input-device", options.input_device, "another device to record with; two clocks, so better not")
      ->option_text("NAME")
      ->group(group);
  command.add_option("--max-level-dbfs", options.max_level_dbfs, "no sample beyond this level leaves, 0 = full scale")
      ->check(CLI::Range(-80.0, 0.0))
      ->option_text("DB")
      ->capture_default_str()
      ->group(group);
  command.add_flag("--yes", options.yes, "leave the caution before the first sound out")->group(group);
  command.add_flag("--resume", options.resume, "go on with the takes that are in the folder")->group(group);
  command.add_option("--again", options.again, "record this mic position anew, keep the others")
      ->check(CLI::Range(1, 1024))
      ->option_text("N")
      ->group(group);
}

void add_channel_options(CLI::App& command, SourceOptions& options) {
  constexpr const char* group = "Of recordings and devices";
  command.add_option("--input-channel", options.input_channel, "channel that holds the microphone")
      ->check(CLI::Range(1, 1024))
      ->option_text("N")
      ->capture_default_str()
      ->group(group);
  command
      .add_option("--loopback-channel", options.loopback_channel,
                  "channel that holds the electrical loopback of all outputs; it makes times absolute, so that "
                  "distances are known too, and proves that no sample was lost")
      ->check(CLI::Range(1, 1024))
      ->option_text("N")
      ->group(group);
}

void check_device_options(const CLI::App& command) {
  const auto refuse = [](const char* what) { throw CLI::ValidationError{what}; };
  const auto given = [&](const char* name) { return command.count(name) > 0; };
  const bool device = given("--device");
  if (device && (given("--virtual") || given("--stimulus") || given("--recording"))) {
    refuse("--device is a source of its own: leave --virtual, --stimulus and --recording out");
  }
  for (const char* const name : {"--input-device", "--max-level-dbfs", "--yes", "--resume", "--again"}) {
    if (given(name) && !device) throw CLI::ValidationError{std::string{name} + " is for --device"};
  }
}

}  // namespace

void add_source_options(CLI::App& command, SourceOptions& options) {
  add_file_options(command, options);
  add_device_options(command, options);
  add_channel_options(command, options);
  constexpr const char* group = "Or a simulated room";
  command.add_option("--virtual", options.virtual_room, "play and record in this room")
      ->option_text("ROOM.toml")
      ->group(group);
  add_excitation_options(command, options.excitation, "Of devices and simulated rooms");
  command.add_option("--threads", options.threads, "how many threads, 0: one per core; results do not depend on it")
      ->check(CLI::Range(0, 1024))
      ->option_text("N")
      ->capture_default_str();
}

void check_source_options(const CLI::App& command, const SourceOptions& options) {
  const auto refuse = [](const char* what) { throw CLI::ValidationError{what}; };
  const auto given = [&](const char* name) { return command.count(name) > 0; };
  check_device_options(command);
  const bool device = given("--device");
  const bool files = given("--stimulus") || given("--recording");
  if (files && given("--virtual")) refuse("--virtual and --recording are two sources: give one of them");
  if (!files && !device && !given("--virtual")) {
    refuse("no source: give --stimulus with --recording, --device NAME, or --virtual ROOM.toml");
  }
  if (files && !given("--stimulus")) refuse("--recording needs --stimulus, the file that was played");
  if (files && !given("--recording")) refuse("--stimulus needs --recording, what the microphone heard");
  if (files && excitation_given(command)) {
    refuse(
        "--level-dbfs, --loud, --sweep-seconds, --decay, --interleave and --harmonics are for --device and --virtual: a "
        "stimulus file has its own");
  }
  if (given("--virtual") && (given("--input-channel") || given("--loopback-channel"))) {
    refuse("--input-channel and --loopback-channel are for --recording and --device: a virtual room has its own");
  }
  if (options.loopback_channel == options.input_channel) {
    refuse("--loopback-channel and --input-channel are the same channel");
  }
}

std::vector<std::string> speakers_in_stimulus(const Rig& rig, const std::string& stimulus) {
  const std::vector<bool> sounding = sounding_channels(stimulus);
  std::vector<std::string> labels;
  for (const Speaker& speaker : rig.speakers) {
    const auto channel = static_cast<std::size_t>(speaker.output) - 1;
    if (channel < sounding.size() && sounding[channel]) labels.push_back(speaker.label);
  }
  return labels;
}

std::vector<PositionMeasurement> measure_source(const Rig& whole, const SourceOptions& options, Progress& progress,
                                                const MicrophoneResponse* microphone) {
  const Rig rig = part_of(whole, options.only, "--speaker");
  if (!options.device.empty()) return measure_live(rig, options, microphone);
  const Source source = options.recordings.empty() ? virtual_source(whole, rig, options) : file_source(rig, options);
  std::vector<PositionMeasurement> measurements;
  for (std::size_t i = 0; i < source.positions; ++i) {
    const auto say = [&](const char* what) {
      progress.now(fmt::format("position {} of {}: {}", i + 1, source.positions, what));
    };
    say(options.recordings.empty() ? "playing in the virtual room" : "reading");
    const Recording recording = source.take(i);
    say("measuring");
    measurements.push_back(
        measure(rig, source.stimulus, recording, {.threads = options.threads, .microphone = microphone}));
  }
  return in_order_of(whole, rig, std::move(measurements));
}

}  // namespace ringtrue::app
