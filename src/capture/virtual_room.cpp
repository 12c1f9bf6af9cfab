#include "ringtrue/capture/virtual_room.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "air_line.hpp"
#include "noise.hpp"
#include "recorder.hpp"
#include "ringtrue/core/errors.hpp"
#include "room_shape.hpp"
#include "speaker_model.hpp"

namespace ringtrue {
namespace {

constexpr double after_stimulus_s = 0.6;  // recorded past the stimulus's end, on the player's time line
constexpr double off_dbfs = -200.0;       // and below: no noise of that kind
enum NoiseStream : std::uint64_t { white, rumble, kinds };

[[noreturn]] void refuse(const std::string& what, const std::string& remedy) {
  throw InvalidInput{"virtual room", what, remedy};
}

/// @returns true when the walls have a say in what this speaker sounds like
bool check(const VirtualSpeaker& speaker, const VirtualRoom& room, Point microphone_m) {
  if (!is_speaker_model(speaker.model)) refuse("unknown model of speaker " + speaker.label, "see docs/virtual-room.md");
  if (speaker.model == "silent" || !speaker.impulse_response_files.empty()) return false;
  if (!is_inside(room, speaker.position_m)) refuse("speaker " + speaker.label + " stands outside the walls", "move it");
  if (distance_m(speaker.position_m, microphone_m) < closest_m) {
    refuse("the microphone is inside speaker " + speaker.label, "move one of them");
  }
  return true;
}

void check(const VirtualRoom& room, const Rig& rig, std::size_t position) {
  if (position >= rig.positions.size()) {
    refuse(fmt::format("the rig has no mic position {}", position + 1), "add a [[position]] to the rig");
  }
  const Point microphone_m = rig.positions[position].offset_m;
  bool walls_matter = false;
  for (const VirtualSpeaker& speaker : room.speakers) walls_matter |= check(speaker, room, microphone_m);
  if (walls_matter && !is_inside(room, microphone_m)) {
    refuse(fmt::format("mic position {} is outside the walls", position + 1), "move it, or make the room larger");
  }
}

double recorder_rate_hz(const VirtualRoom& room, const Stimulus& stimulus) {
  return room.recorder_sample_rate_hz > 0.0 ? room.recorder_sample_rate_hz : stimulus.sample_rate_hz;
}

/// Sample n of the recorder is what was on the line at start_offset - latency + n / (rate (1 + ppm)).
std::vector<double> recorded(const std::vector<double>& line, const VirtualRoom& room, const Stimulus& stimulus,
                             unsigned threads) {
  const double rate_hz = recorder_rate_hz(room, stimulus) * (1.0 + 1e-6 * room.clock_ppm);
  const double start_s = 1e-3 * room.start_offset_ms;
  const double length_s = static_cast<double>(stimulus.frames) / stimulus.sample_rate_hz + after_stimulus_s - start_s;
  if (!(length_s > 0.0)) refuse("the recorder starts after the stimulus has ended", "lower start_offset_ms");
  const double first = (start_s - 1e-3 * room.latency_ms) * stimulus.sample_rate_hz;
  const double nearest = std::round(first);  // 12 ms at 48 kHz are whole frames, but for the last digit
  return sample_at(line, std::abs(first - nearest) < 1e-6 ? nearest : first, stimulus.sample_rate_hz / rate_hz,
                   static_cast<std::size_t>(std::lround(length_s * rate_hz)), threads);
}

void add_noise(const VirtualRoom& room, std::size_t position, double sample_rate_hz, unsigned threads,
               std::vector<double>& microphone) {
  const auto seed = [&](NoiseStream kind) { return stream_seed(room.seed, kinds * position + kind); };
  const auto rms = [](double dbfs) { return amplitude_ratio(Decibels{dbfs}); };
  if (room.noise_dbfs > off_dbfs) add_white_noise(microphone, rms(room.noise_dbfs), seed(white), threads);
  if (room.hum_dbfs > off_dbfs) add_hum(microphone, rms(room.hum_dbfs), sample_rate_hz);
  if (room.rumble_dbfs > off_dbfs) {
    add_rumble(microphone, rms(room.rumble_dbfs), sample_rate_hz, seed(rumble), threads);
  }
}

/// What the converter writes: it cannot go beyond full scale.
std::vector<float> converted(const std::vector<double>& samples) {
  std::vector<float> result(samples.size());
  std::ranges::transform(samples, result.begin(),
                         [](double sample) { return static_cast<float>(std::clamp(sample, -1.0, 1.0)); });
  return result;
}

}  // namespace

Recording capture(const VirtualRoom& room, const Rig& rig, const Stimulus& stimulus, std::size_t position,
                  unsigned threads) {
  check(room, rig, position);
  Recording recording;
  recording.name = fmt::format("virtual room, position {}", position + 1);
  recording.sample_rate_hz = recorder_rate_hz(room, stimulus);
  std::vector<double> air = sound_at_microphone(room, rig, stimulus, position, after_stimulus_s, threads);
  const double gain = amplitude_ratio(Decibels{room.microphone_gain_db});
  for (double& sample : air) sample *= gain;
  std::vector<double> microphone = recorded(air, room, stimulus, threads);
  add_noise(room, position, recording.sample_rate_hz, threads, microphone);
  recording.microphone = converted(microphone);
  if (room.loopback) {
    recording.loopback = converted(recorded(sum_of_outputs(stimulus, after_stimulus_s), room, stimulus, threads));
  }
  return recording;
}

}  // namespace ringtrue
