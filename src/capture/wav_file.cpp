#include "ringtrue/capture/wav_file.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cassert>
#include <cmath>

#include "ringtrue/core/errors.hpp"
#include "sound_file.hpp"

namespace ringtrue {
namespace {

constexpr int lowest_rate_hz = 44'000;  // 44.1 kHz, and 44.056 kHz of old video machines
constexpr int highest_rate_hz = 192'000;
constexpr std::size_t longest_sound_s = 1'800;
constexpr std::size_t most_samples = std::size_t{1} << 28;  // 1 GiB of float for a file that is read whole
constexpr std::size_t sound_block_samples = 65'536;         // 256 KiB: stays in the second-level cache

void check_rate(const SoundReader& file) {
  const int rate = file.sample_rate_hz();
  if (rate < lowest_rate_hz || rate > highest_rate_hz) {
    throw InvalidInput{file.name(), fmt::format("has a sample rate of {} Hz", rate), "record at 44.1 to 192 kHz"};
  }
}

void check_channel(const SoundReader& file, int channel, const char* what) {
  if (channel >= 1 && static_cast<std::size_t>(channel) <= file.channels()) return;
  throw InvalidInput{file.name(),
                     fmt::format("has {} channel{}, so no channel {} for the {}", file.channels(),
                                 file.channels() == 1 ? "" : "s", channel, what),
                     "choose another channel or export all of them"};
}

/// Copies one channel out of interleaved frames, refusing what is not a number.
void append_channel(const SoundReader& file, std::span<const float> interleaved, std::size_t channel,
                    std::vector<float>& samples) {
  for (std::size_t i = channel; i < interleaved.size(); i += file.channels()) {
    if (!std::isfinite(interleaved[i])) {
      throw InvalidInput{file.name(),
                         fmt::format("channel {} is not a number at {:.4f} s (frame {})", channel + 1,
                                     static_cast<double>(samples.size()) / file.sample_rate_hz(), samples.size()),
                         "record again, or repair the file"};
    }
    samples.push_back(interleaved[i]);
  }
}

/// Reads the wanted channels (counted from 0) to the end of the file.
std::vector<std::vector<float>> read_channels(SoundReader& file, std::span<const std::size_t> wanted,
                                              std::size_t most_frames, const std::string& limit) {
  std::vector<std::vector<float>> channels(wanted.size());
  for (auto& samples : channels) samples.reserve(std::min(file.expected_frames(), most_frames));
  std::vector<float> block(std::max<std::size_t>(1, sound_block_samples / file.channels()) * file.channels());
  for (std::size_t frames = file.read(block); frames > 0; frames = file.read(block)) {
    if (channels.front().size() + frames > most_frames) {
      throw InvalidInput{file.name(), "is longer than " + limit, "cut it to the measurement"};
    }
    const std::span read{block.data(), frames * file.channels()};
    for (std::size_t c = 0; c < wanted.size(); ++c) append_channel(file, read, wanted[c], channels[c]);
  }
  if (channels.front().empty()) {
    throw InvalidInput{file.name(), "holds no samples, or its recorder was not stopped properly", "record it again"};
  }
  return channels;
}

/// A float file may go over full scale; 60 dB over it there is no sound, but a damaged file.
void refuse_nonsense(const std::string& name, std::span<const float> channel, std::size_t rate) {
  constexpr float loudest = 1'000.0F;
  const auto found = std::ranges::find_if(channel, [](float x) { return std::abs(x) > loudest; });
  if (found == channel.end()) return;
  throw InvalidInput{name,
                     fmt::format("a sample is {:.2g} at {:.4f} s, where 1 is full scale", static_cast<double>(*found),
                                 static_cast<double>(found - channel.begin()) / static_cast<double>(rate)),
                     "record again, or export the file as 24 bit"};
}

}  // namespace

Recording read_recording(const std::filesystem::path& path, int loopback_channel, int microphone_channel) {
  SoundReader file{path};
  check_rate(file);
  check_channel(file, microphone_channel, "microphone");
  if (loopback_channel != 0) check_channel(file, loopback_channel, "loopback");
  if (loopback_channel == microphone_channel) {
    throw InvalidInput{file.name(), fmt::format("channel {} cannot be microphone and loopback", microphone_channel),
                       "give the loopback its own channel, or leave it out"};
  }
  std::vector<std::size_t> wanted{static_cast<std::size_t>(microphone_channel) - 1};
  if (loopback_channel != 0) wanted.push_back(static_cast<std::size_t>(loopback_channel) - 1);
  const auto rate = static_cast<std::size_t>(file.sample_rate_hz());
  auto channels = read_channels(file, wanted, longest_sound_s * rate, "30 minutes");
  for (const auto& channel : channels) refuse_nonsense(file.name(), channel, rate);
  Recording recording{file.name(), static_cast<double>(rate), std::move(channels.front()), {}};
  if (loopback_channel != 0) recording.loopback = std::move(channels.back());
  return recording;
}

Sound read_sound(const std::filesystem::path& path) {
  SoundReader file{path};
  check_rate(file);
  std::vector<std::size_t> wanted(file.channels());
  for (std::size_t c = 0; c < wanted.size(); ++c) wanted[c] = c;
  const std::size_t most_frames = most_samples / file.channels();
  return {static_cast<double>(file.sample_rate_hz()),
          read_channels(file, wanted, most_frames, fmt::format("{} frames", most_frames))};
}

void write_wav(const std::filesystem::path& path, double sample_rate_hz, std::span<const std::vector<float>> channels) {
  assert(!channels.empty());
  const std::size_t frames = channels.front().size();
  SoundWriter file{path, sample_rate_hz, channels.size(), static_cast<std::int64_t>(frames)};
  std::vector<float> block;
  const std::size_t block_frames = std::max<std::size_t>(1, sound_block_samples / channels.size());
  for (std::size_t first = 0; first < frames; first += block_frames) {
    const std::size_t count = std::min(block_frames, frames - first);
    block.resize(count * channels.size());
    for (std::size_t c = 0; c < channels.size(); ++c) {
      assert(channels[c].size() == frames);
      for (std::size_t i = 0; i < count; ++i) block[i * channels.size() + c] = channels[c][first + i];
    }
    file.write(block);
  }
  file.close();
}

}  // namespace ringtrue
