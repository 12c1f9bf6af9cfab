#include "workload.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>

#include "ringtrue/capture/atomic_file.hpp"
#include "ringtrue/capture/virtual_room.hpp"
#include "ringtrue/capture/wav_file.hpp"
#include "ringtrue/rig/rig_file.hpp"

namespace ringtrue::bench {
namespace {

Speaker main_speaker(std::size_t number) {
  Speaker speaker;
  speaker.label = fmt::format("M{}", number);
  speaker.output = static_cast<int>(number);
  return speaker;
}

Speaker sub_speaker(std::size_t number) {
  Speaker speaker;
  speaker.label = "LFE";
  speaker.output = static_cast<int>(number);
  speaker.kind = SpeakerKind::sub;
  speaker.band = {Hertz{20.0}, Hertz{200.0}};
  return speaker;
}

Rig make_rig(const WorkloadOptions& options) {
  Rig rig;
  rig.layout = "custom";
  rig.interface.sample_rate_hz = options.sample_rate_hz;
  const std::size_t mains = options.speakers > 2 ? options.speakers - 1 : options.speakers;
  for (std::size_t i = 1; i <= mains; ++i) rig.speakers.push_back(main_speaker(i));
  if (mains < options.speakers) rig.speakers.push_back(sub_speaker(options.speakers));
  rig.positions.clear();
  for (std::size_t p = 0; p < options.positions; ++p) {
    rig.positions.push_back({{0.25 * static_cast<double>(p % 3), 0.25 * static_cast<double>(p / 3), 0.0}});
  }
  return rig;
}

VirtualRoom make_room(const Rig& rig, bool loopback) {
  VirtualRoom room;
  room.absorption.fill(0.3);  // about 0.3 s
  room.noise_dbfs = -70.0;
  room.loopback = loopback;
  room.ear_m = {0.1, 0.2, 1.2};
  for (std::size_t i = 0; i < rig.speakers.size(); ++i) {
    const double angle = 2.0 * std::numbers::pi * static_cast<double>(i) / static_cast<double>(rig.speakers.size());
    const double distance_m = 1.4 + 0.3 * static_cast<double>(i % 3) / 2.0;
    VirtualSpeaker speaker;
    speaker.label = rig.speakers[i].label;
    speaker.position_m = {-distance_m * std::sin(angle), distance_m * std::cos(angle), 0.1};
    if (rig.speakers[i].kind == SpeakerKind::sub) {
      speaker.model = "sub";
      speaker.band = {Hertz{22.0}, Hertz{180.0}};
    }
    room.speakers.push_back(speaker);
  }
  return room;
}

}  // namespace

Rig workload_rig(const WorkloadOptions& options) { return make_rig(options); }

void write_rig_with_positions(WorkloadOptions options, std::size_t positions, const std::filesystem::path& folder) {
  options.positions = positions;
  write_text_atomically(folder / "rig.toml", format_rig(make_rig(options)));
}

Workload make_workload(const WorkloadOptions& options) {
  Workload workload;
  workload.rig = make_rig(options);
  workload.stimulus = plan_stimulus(workload.rig, {});
  const VirtualRoom room = make_room(workload.rig, options.loopback);
  for (std::size_t p = 0; p < options.positions; ++p) {
    workload.recordings.push_back(capture(room, workload.rig, workload.stimulus, p));
  }
  return workload;
}

void write_workload(const Workload& workload, const std::filesystem::path& folder) {
  write_text_atomically(folder / "rig.toml", format_rig(workload.rig));
  write_stimulus(folder / "stimulus.wav", workload.stimulus, workload.rig);
  for (std::size_t p = 0; p < workload.recordings.size(); ++p) {
    const Recording& recording = workload.recordings[p];
    std::vector<std::vector<float>> channels{recording.microphone};
    if (!recording.loopback.empty()) channels.push_back(recording.loopback);
    write_wav(folder / fmt::format("position{}.wav", p + 1), recording.sample_rate_hz, channels);
  }
}

}  // namespace ringtrue::bench
