#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "ringtrue/capture/wav_file.hpp"
#include "ringtrue/core/errors.hpp"
#include "ringtrue/stimulus/interleave.hpp"
#include "ringtrue/stimulus/overlap.hpp"
#include "sound_activity.hpp"
#include "sound_file.hpp"
#include "sweep_estimate.hpp"

namespace ringtrue {
namespace {

constexpr std::size_t stimulus_block_samples = 65'536;
constexpr float same_sample = 1e-6F;  // two plays of one sweep differ by no more
constexpr double longest_sweep_s = 60.0;
constexpr std::size_t most_shape_samples = std::size_t{1} << 25;  // 256 MiB of double
constexpr const char* make_it_again = "make the stimulus again with `ringtrue stimulus`";

void check_fits(const SoundReader& file, const Rig& rig) {
  if (static_cast<double>(file.sample_rate_hz()) != rig.interface.sample_rate_hz) {
    throw InvalidInput{file.name(),
                       fmt::format("has a sample rate of {} Hz, the rig has {} Hz", file.sample_rate_hz(),
                                   rig.interface.sample_rate_hz),
                       make_it_again};
  }
  const auto needed = static_cast<std::size_t>(channel_count(rig));
  if (file.channels() < needed) {
    throw InvalidInput{file.name(),
                       fmt::format("has {} channel{}, the rig's highest output is {}", file.channels(),
                                   file.channels() == 1 ? "" : "s", needed),
                       make_it_again};
  }
}

bool is_loopback(const Rig& rig, std::size_t channel) {
  return rig.interface.loopback_output == static_cast<int>(channel) + 1;
}

/// Loudest sample of all channels but the loopback's, which may be any sum of them.
float loudest(const PeakMap& map, const Rig& rig) {
  float peak = 0.0F;
  for (std::size_t i = 0; i < map.peaks.size(); ++i) {
    if (!is_loopback(rig, i % map.channels)) peak = std::max(peak, map.peaks[i]);
  }
  return peak;
}

/// Index of the speaker on that output; the rig's size when there is none.
std::size_t speaker_on(const Rig& rig, std::size_t channel) {
  const auto speaker = std::ranges::find(rig.speakers, static_cast<int>(channel) + 1, &Speaker::output);
  return static_cast<std::size_t>(speaker - rig.speakers.begin());
}

/// What every channel does, loopback left out, in order of time.
std::vector<Activity> all_activities(const SoundReader& file, const PeakMap& map, const Rig& rig) {
  const float peak = loudest(map, rig);
  if (peak == 0.0F) throw InvalidInput{file.name(), "is silent throughout", make_it_again};
  std::vector<Activity> all;
  for (std::size_t c = 0; c < map.channels; ++c) {
    if (is_loopback(rig, c)) continue;
    const std::size_t speaker = speaker_on(rig, c);
    const auto activities = find_activities(map, c, peak, rig.interface.sample_rate_hz);
    if (speaker == rig.speakers.size() && !activities.empty()) {
      throw InvalidInput{fmt::format("{}, channel {}", file.name(), c + 1),
                         fmt::format("it sounds, but the rig has no speaker on output {}", c + 1),
                         "add the speaker to the rig, or make the stimulus again"};
    }
    if (speaker < rig.speakers.size() && activities.empty()) {
      throw InvalidInput{
          fmt::format("{}, channel {}", file.name(), c + 1),
          fmt::format("it is silent, but speaker {} is on output {}", rig.speakers[speaker].label, c + 1),
          make_it_again};
    }
    all.insert(all.end(), activities.begin(), activities.end());
  }
  std::ranges::stable_sort(all, {}, &Activity::first_block);
  return all;
}

/// The samples of one channel in the blocks of an activity.
std::vector<float> read_activity(SoundReader& file, const PeakMap& map, const Activity& activity) {
  const std::size_t frames = (activity.end_block - activity.first_block) * map.block_frames;
  if (static_cast<double>(frames) > longest_sweep_s * file.sample_rate_hz()) {
    throw InvalidInput{fmt::format("{}, channel {}", file.name(), activity.channel + 1),
                       fmt::format("it sounds for more than {} s without a pause", longest_sweep_s), make_it_again};
  }
  file.seek(static_cast<std::int64_t>(activity.first_block * map.block_frames));
  std::vector<float> samples;
  samples.reserve(frames);
  std::vector<float> block(std::max<std::size_t>(1, stimulus_block_samples / map.channels) * map.channels);
  while (samples.size() < frames) {
    const std::size_t wanted = std::min(block.size() / map.channels, frames - samples.size());
    const std::size_t got = file.read({block.data(), wanted * map.channels});
    for (std::size_t i = 0; i < got; ++i) samples.push_back(block[i * map.channels + activity.channel]);
    if (got < wanted) break;
  }
  return samples;
}

bool same_shape(const SweepShape& shape, std::span<const float> samples) {
  const auto close = [](double a, float b) { return std::abs(a - static_cast<double>(b)) <= double{same_sample}; };
  return std::ranges::equal(shape.samples, samples, close);
}

SweepShape shape_of(const SoundReader& file, std::span<const float> samples, std::size_t channel, double start_s) {
  std::vector<double> sweep(samples.begin(), samples.end());
  const auto law = estimate_sweep_law(sweep, Hertz{static_cast<double>(file.sample_rate_hz())});
  if (!law) {
    throw InvalidInput{fmt::format("{}, channel {}", file.name(), channel + 1),
                       fmt::format("what it plays at {:.3f} s is no exponential sweep", start_s), make_it_again};
  }
  return {std::move(sweep), law->band, law->rate_constant};
}

/// Index of the shape these samples have, a new one when none before was the same.
std::size_t shape_index(const SoundReader& file, std::span<const float> samples, const ScheduledSweep& sweep,
                        std::size_t channel, std::vector<SweepShape>& shapes) {
  const auto known = std::ranges::find_if(shapes, [&](const SweepShape& s) { return same_shape(s, samples); });
  if (known != shapes.end()) return static_cast<std::size_t>(known - shapes.begin());
  std::size_t held = samples.size();
  for (const SweepShape& shape : shapes) held += shape.samples.size();
  if (held > most_shape_samples) throw InvalidInput{file.name(), "holds too many different sweeps", make_it_again};
  const double start_s = static_cast<double>(sweep.first_frame) / file.sample_rate_hz();
  shapes.push_back(shape_of(file, samples, channel, start_s));
  return shapes.size() - 1;
}

/// Smallest silence between the end of a sweep and the start of the next, or the end of the file.
Seconds shortest_gap(const Stimulus& stimulus) {
  std::int64_t gap = stimulus.frames;
  std::int64_t end = 0;
  for (std::size_t i = 0; i < stimulus.sweeps.size(); ++i) {
    const ScheduledSweep& sweep = stimulus.sweeps[i];
    end = std::max(end, sweep.first_frame + std::ssize(stimulus.shapes[sweep.shape].samples));
    const bool last = i + 1 == stimulus.sweeps.size();
    gap = std::min(gap, (last ? stimulus.frames : stimulus.sweeps[i + 1].first_frame) - end);
  }
  return Seconds{static_cast<double>(std::max<std::int64_t>(0, gap)) / stimulus.sample_rate_hz};
}

}  // namespace

void write_stimulus(const std::filesystem::path& path, const Stimulus& stimulus, const Rig& rig) {
  const auto channels = static_cast<std::size_t>(stimulus.channels);
  SoundWriter file{path, stimulus.sample_rate_hz, channels, stimulus.frames};
  const auto block_frames = static_cast<std::int64_t>(std::max<std::size_t>(1, stimulus_block_samples / channels));
  std::vector<float> block;
  for (std::int64_t first = 0; first < stimulus.frames; first += block_frames) {
    block.resize(static_cast<std::size_t>(std::min(block_frames, stimulus.frames - first)) * channels);
    render(stimulus, rig, first, block);
    file.write(block);
  }
  file.close();
}

std::vector<bool> sounding_channels(const std::filesystem::path& path) {
  SoundReader file{path};
  const PeakMap map = map_peaks(file);
  const float peak = map.peaks.empty() ? 0.0F : *std::ranges::max_element(map.peaks);
  std::vector<bool> sounding;
  for (std::size_t c = 0; c < map.channels; ++c) {
    sounding.push_back(peak > 0.0F && !find_activities(map, c, peak, file.sample_rate_hz()).empty());
  }
  return sounding;
}

Stimulus read_stimulus(const std::filesystem::path& path, const Rig& rig) {
  SoundReader file{path};
  check_fits(file, rig);
  const PeakMap map = map_peaks(file);
  Stimulus stimulus;
  stimulus.sample_rate_hz = rig.interface.sample_rate_hz;
  stimulus.channels = static_cast<int>(map.channels);
  stimulus.frames = map.frames;
  for (const Activity& activity : all_activities(file, map, rig)) {
    const std::vector<float> sound = read_activity(file, map, activity);
    const auto [begin, end] = edges(sound, activity.threshold);
    const auto first_frame = static_cast<std::int64_t>(activity.first_block * map.block_frames + begin);
    ScheduledSweep sweep{speaker_on(rig, activity.channel), 0, first_frame};
    const std::span samples{sound.data() + begin, end - begin};
    sweep.shape = shape_index(file, samples, sweep, activity.channel, stimulus.shapes);
    stimulus.sweeps.push_back(sweep);
  }
  std::ranges::stable_sort(stimulus.sweeps, {}, &ScheduledSweep::first_frame);
  stimulus.decay = is_interleaved(stimulus) ? interleaved_decay(stimulus) : shortest_gap(stimulus);
  return stimulus;
}

}  // namespace ringtrue
