#pragma once

#include <CLI/CLI.hpp>
#include <filesystem>
#include <string>
#include <vector>

#include "excitation.hpp"
#include "progress.hpp"
#include "ringtrue/capture/virtual_room.hpp"
#include "ringtrue/response/measurement.hpp"
#include "ringtrue/rig/rig.hpp"

namespace ringtrue::app {

/// Where recordings come from: files made with any recorder, an audio device, or the virtual room.
struct SourceOptions {
  std::string stimulus;
  std::vector<std::string> recordings;
  int loopback_channel = 0;  // 0: none
  int input_channel = 1;
  std::string virtual_room;
  std::vector<OutputSettings> typed_in;  // into the virtual room's interface
  std::vector<std::string> only;         // labels of the speakers that are played; empty: all
  ExcitationOptions excitation;          // not for recordings: a stimulus file has its own
  std::string device;
  std::string input_device;
  double max_level_dbfs = -6.0;
  int again = 0;  // mic position to record anew, from 1; 0: none
  bool resume = false;
  bool yes = false;
  bool overwrite = false;              // set by the command: of kept takes
  std::filesystem::path takes_folder;  // set by the command: where takes are kept; empty: nowhere
  unsigned threads = 0;
};

/// Declares them all.
void add_source_options(CLI::App& command, SourceOptions& options);

/// Makes sure that they name one source, and all of it. @throws CLI::ParseError
void check_source_options(const CLI::App& command, const SourceOptions& options);

/// Labels of the speakers that a stimulus file plays. @throws InvalidInput
[[nodiscard]] std::vector<std::string> speakers_in_stimulus(const Rig& rig, const std::string& stimulus);

/// Takes one recording after another, so that only one is in memory at a time, and measures it.
/// @returns  speakers in the rig's order; those that are not played are not heard
/// @param microphone  whose response is taken out of what is measured; none: taken as flat
/// @throws InvalidInput, DeviceError, Stopped
[[nodiscard]] std::vector<PositionMeasurement> measure_source(const Rig& rig, const SourceOptions& options,
                                                              Progress& progress,
                                                              const MicrophoneResponse* microphone = nullptr);

}  // namespace ringtrue::app
