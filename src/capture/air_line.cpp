#include "air_line.hpp"

#include <algorithm>
#include <cmath>
#include <map>
#include <memory>
#include <optional>

#include "image_source.hpp"
#include "interface_settings.hpp"
#include "ringtrue/core/parallel.hpp"
#include "room_shape.hpp"
#include "speaker_sound.hpp"

namespace ringtrue {
namespace {

/// The interface's output a virtual speaker is cabled to; 0: none.
int output_of(const VirtualSpeaker& speaker, const Rig& rig) {
  if (speaker.plays_output) return *speaker.plays_output;
  const auto same = std::ranges::find(rig.speakers, speaker.label, &Speaker::label);
  return same == rig.speakers.end() ? 0 : same->output;
}

/// The sweeps each virtual speaker plays.
std::vector<std::vector<ScheduledSweep>> sweeps_by_speaker(const VirtualRoom& room, const Rig& rig,
                                                           const Stimulus& stimulus) {
  std::vector<std::vector<ScheduledSweep>> sweeps(room.speakers.size());
  for (std::size_t s = 0; s < sweeps.size(); ++s) {
    if (room.speakers[s].model == "silent") continue;
    const int output = output_of(room.speakers[s], rig);
    std::ranges::copy_if(stimulus.sweeps, std::back_inserter(sweeps[s]),
                         [&](const ScheduledSweep& sweep) { return rig.speakers[sweep.speaker].output == output; });
  }
  return sweeps;
}

bool is_measured(const VirtualSpeaker& speaker) { return !speaker.impulse_response_files.empty(); }

/// Time the slowest of the speakers' high-passes takes to fall by 120 dB: exp(-sqrt(1/2) 2 pi f t).
double ringing_s(const VirtualRoom& room) {
  double lowest_hz = 100.0;
  for (const VirtualSpeaker& speaker : room.speakers) lowest_hz = std::min(lowest_hz, speaker.band.low.value());
  return 3.1 / lowest_hz;
}

std::vector<SpeakerResponse> responses(const VirtualRoom& room, const Rig& rig, std::size_t position,
                                       double sample_rate_hz, const std::vector<bool>& needed, unsigned threads) {
  const Point microphone_m = rig.positions[position].offset_m;
  std::optional<ImageSources> images;
  if (!std::ranges::all_of(room.speakers, is_measured)) {
    images.emplace(shoebox_of(room), sample_rate_hz, ringing_s(room));
  }
  std::vector<SpeakerResponse> result(room.speakers.size());
  parallel_for(result.size(), threads, [&](std::size_t s) {
    const VirtualSpeaker& speaker = room.speakers[s];
    if (!needed[s]) return;
    result[s] = is_measured(speaker) ? measured_response(speaker, position, sample_rate_hz)
                                     : modelled_response(speaker, *images, in_shoebox(room, speaker.position_m),
                                                         in_shoebox(room, microphone_m), sample_rate_hz);
    const auto typed = std::ranges::find(room.typed_in, output_of(speaker, rig), &OutputSettings::output);
    if (typed != room.typed_in.end()) type_in(typed->settings, sample_rate_hz, result[s]);
  });
  return result;
}

/// The stimulus's shapes, each with a transform that has room for the longest response.
std::vector<DrivenShape> driven_shapes(const Stimulus& stimulus, const std::vector<SpeakerResponse>& responses) {
  std::size_t longest = 0;
  for (const SpeakerResponse& response : responses) longest = std::max(longest, response.samples.size());
  std::map<std::size_t, std::shared_ptr<const RealFft>> transforms;  // by size
  std::vector<DrivenShape> driven;
  for (const SweepShape& shape : stimulus.shapes) {
    const std::size_t size = good_fft_size(shape.samples.size() + longest);
    auto& transform = transforms[size];
    if (!transform) transform = std::make_shared<const RealFft>(size);
    driven.emplace_back(shape.samples, transform);
  }
  return driven;
}

/// What one speaker's sweeps sound like, each shape once.
std::vector<SpeakerSound> sounds_of(const VirtualSpeaker& speaker, const SpeakerResponse& response,
                                    const std::vector<ScheduledSweep>& sweeps, const std::vector<DrivenShape>& driven) {
  std::vector<SpeakerSound> sounds;
  for (const ScheduledSweep& sweep : sweeps) {
    if (std::ranges::find(sounds, sweep.shape, &SpeakerSound::shape) != sounds.end()) continue;
    sounds.push_back({sweep.shape, driven[sweep.shape].through(response.samples, speaker), response.lead});
  }
  return sounds;
}

/// Adds samples from `first` on, as far as the line reaches.
void add_at(std::int64_t first, const std::vector<double>& samples, std::vector<double>& line) {
  const std::int64_t begin = std::max<std::int64_t>(0, -first);
  const std::int64_t end = std::min(std::ssize(samples), std::ssize(line) - first);
  for (std::int64_t i = begin; i < end; ++i) {
    line[static_cast<std::size_t>(first + i)] += samples[static_cast<std::size_t>(i)];
  }
}

}  // namespace

std::size_t line_frames(const Stimulus& stimulus, double after_s) {
  constexpr std::size_t kernel_reach = 256;  // a recorder that interpolates looks past the end
  return static_cast<std::size_t>(stimulus.frames) + kernel_reach +
         static_cast<std::size_t>(std::ceil(after_s * stimulus.sample_rate_hz));
}

std::vector<double> sound_at_microphone(const VirtualRoom& room, const Rig& rig, const Stimulus& stimulus,
                                        std::size_t position, double after_s, unsigned threads) {
  const auto sweeps = sweeps_by_speaker(room, rig, stimulus);
  std::vector<bool> needed(sweeps.size());
  for (std::size_t s = 0; s < sweeps.size(); ++s) needed[s] = !sweeps[s].empty();
  const auto heard = responses(room, rig, position, stimulus.sample_rate_hz, needed, threads);
  const auto driven = driven_shapes(stimulus, heard);
  std::vector<std::vector<SpeakerSound>> sounds(heard.size());
  parallel_for(sounds.size(), threads,
               [&](std::size_t s) { sounds[s] = sounds_of(room.speakers[s], heard[s], sweeps[s], driven); });
  std::vector<double> line(line_frames(stimulus, after_s));
  for (std::size_t s = 0; s < sounds.size(); ++s) {  // one after another: sums do not depend on the threads
    for (const ScheduledSweep& sweep : sweeps[s]) {
      const auto sound = std::ranges::find(sounds[s], sweep.shape, &SpeakerSound::shape);
      add_at(sweep.first_frame - sound->lead, sound->samples, line);
    }
  }
  return line;
}

std::vector<double> sum_of_outputs(const Stimulus& stimulus, double after_s) {
  std::vector<double> line(line_frames(stimulus, after_s));
  for (const ScheduledSweep& sweep : stimulus.sweeps) {
    add_at(sweep.first_frame, stimulus.shapes[sweep.shape].samples, line);
  }
  return line;
}

}  // namespace ringtrue
