#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "ringtrue/calibration/calibration.hpp"
#include "ringtrue/capture/recording.hpp"
#include "ringtrue/core/geometry.hpp"
#include "ringtrue/rig/rig.hpp"
#include "ringtrue/stimulus/stimulus.hpp"

namespace ringtrue {

/// A loudspeaker as a chain of filters at its own place; every part is optional. See docs/virtual-room.md.
struct VirtualSpeaker {
  std::string label;
  Point position_m;                         // from the ear point
  std::string model = "two-way";            // two-way | two-way-inverting | full-range | sub | silent
  double crossover_hz = 2'200.0;            // two-way models
  Band band{Hertz{55.0}, Hertz{21'000.0}};  // acoustic corners of the box
  double gain_db = 0.0;
  bool inverted = false;        // the whole speaker's leads are crossed
  double extra_delay_ms = 0.0;  // its own processing
  double second_harmonic_percent = 0.0;
  double third_harmonic_percent = 0.0;
  std::vector<std::string> impulse_response_files;  // one per mic position: replaces model and walls
  std::optional<int> plays_output;  // default: the rig's output of this label; another one: crossed cables
};

/// What is typed in for one output of the interface while the room is played.
struct OutputSettings {
  int output = 1;
  Settings settings;
};

/// A room as a capture device: shoebox of image sources or measured impulse responses, noise, latency, drift.
struct VirtualRoom {
  std::array<double, 3> size_m{5.2, 4.4, 2.6};  // length (front-back), width, height
  Point ear_m{0.0, 0.0, 0.0};                   // ear point from the middle of the floor: x right, y front, z up
  std::array<double, 6> absorption{};           // left, right, front, back, floor, ceiling, at 1 kHz
  double temperature_c = 22.0;
  double noise_dbfs = -90.0;    // white, rms
  double hum_dbfs = -200.0;     // 50 Hz and harmonics, rms
  double rumble_dbfs = -200.0;  // below 100 Hz, rms
  std::uint64_t seed = 1;
  double microphone_gain_db = 0.0;
  double full_scale_spl_db = 120.0;      // sound pressure level that has an rms of 1.0 at a microphone gain of 0 dB
  double latency_ms = 12.0;              // of the audio interface, mic and loopback alike
  double start_offset_ms = 0.0;          // > 0: the recorder started late; < 0: early
  double clock_ppm = 0.0;                // recorder's clock against the player's; > 0: recorder runs fast
  double recorder_sample_rate_hz = 0.0;  // 0: the rig's
  bool loopback = true;
  std::vector<VirtualSpeaker> speakers;
  std::vector<OutputSettings> typed_in{};  // outputs that are not named are neutral
};

/// Reads ROOM.toml: line-numbered errors, unknown keys refused; relative file names are taken from the folder of the
/// file. @throws InvalidInput
[[nodiscard]] VirtualRoom parse_virtual_room(std::string_view text, const std::string& name, const Rig& rig);
[[nodiscard]] VirtualRoom read_virtual_room(const std::filesystem::path& path, const Rig& rig);

/// What a calibration asks for, as the interface of a virtual room takes it.
[[nodiscard]] std::vector<OutputSettings> settings_of(const Calibration& calibration);

/// Plays the stimulus in the room and records it at one of the rig's mic positions. Same bytes out for the same
/// arguments, whatever `threads` (0: one per core). @throws InvalidInput
[[nodiscard]] Recording capture(const VirtualRoom& room, const Rig& rig, const Stimulus& stimulus, std::size_t position,
                                unsigned threads = 0);

}  // namespace ringtrue
