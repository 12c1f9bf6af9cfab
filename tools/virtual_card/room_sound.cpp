#include "room_sound.hpp"

#include <algorithm>
#include <cmath>

namespace ringtrue::card {
namespace {

constexpr std::int64_t impulse_at = 256;  // leaves room for what a band-limited pulse does ahead of time
constexpr double impulse = 1.0 / 64.0;    // far from the converters' full scale, and exact in binary
constexpr double inaudible = 1e-9;
constexpr double noise_s = 10.0;  // whole periods of 50 Hz

/// The room without everything that is not the way of the sound.
VirtualRoom bare(VirtualRoom room) {
  room.noise_dbfs = room.hum_dbfs = room.rumble_dbfs = -200.0;
  room.latency_ms = room.start_offset_ms = room.clock_ppm = 0.0;
  room.recorder_sample_rate_hz = 0.0;
  room.loopback = false;
  for (VirtualSpeaker& speaker : room.speakers) {
    speaker.second_harmonic_percent = speaker.third_harmonic_percent = 0.0;
  }
  return room;
}

Stimulus nothing_but(double seconds, const Rig& rig) {
  Stimulus stimulus;
  stimulus.sample_rate_hz = rig.interface.sample_rate_hz;
  stimulus.channels = channel_count(rig);
  stimulus.frames = std::llround(seconds * rig.interface.sample_rate_hz);
  return stimulus;
}

std::vector<double> response_of(const VirtualRoom& room, const Rig& rig, std::size_t speaker, std::size_t position,
                                std::size_t latency) {
  Stimulus stimulus = nothing_but(1.5, rig);
  stimulus.shapes.push_back({{impulse}, {Hertz{20.0}, Hertz{0.5 * rig.interface.sample_rate_hz}}, Seconds{1.0}});
  stimulus.sweeps.push_back({speaker, 0, impulse_at});
  const Recording heard = capture(room, rig, stimulus, position);
  std::vector<double> response(latency + heard.microphone.size());
  for (std::size_t n = 0; n < heard.microphone.size(); ++n) {
    const auto at = static_cast<std::ptrdiff_t>(latency + n) - static_cast<std::ptrdiff_t>(impulse_at);
    if (at >= 0) response[static_cast<std::size_t>(at)] = static_cast<double>(heard.microphone[n]) / impulse;
  }
  while (!response.empty() && std::abs(response.back()) < inaudible) response.pop_back();
  return response;
}

}  // namespace

RoomSound sound_of(const VirtualRoom& room, const Rig& rig, std::size_t position, std::size_t outputs) {
  RoomSound sound;
  sound.latency_frames = static_cast<std::size_t>(std::llround(1e-3 * room.latency_ms * rig.interface.sample_rate_hz));
  sound.responses.resize(outputs);
  const VirtualRoom way = bare(room);
  for (std::size_t s = 0; s < rig.speakers.size(); ++s) {
    const auto output = static_cast<std::size_t>(rig.speakers[s].output - 1);
    if (output < outputs) sound.responses[output] = response_of(way, rig, s, position, sound.latency_frames);
  }
  VirtualRoom still = room;
  still.loopback = false;
  still.start_offset_ms = still.clock_ppm = still.recorder_sample_rate_hz = 0.0;
  Recording noise = capture(still, rig, nothing_but(noise_s, rig), position);
  noise.microphone.resize(static_cast<std::size_t>(std::llround(noise_s * rig.interface.sample_rate_hz)));
  sound.noise = std::move(noise.microphone);
  return sound;
}

}  // namespace ringtrue::card
