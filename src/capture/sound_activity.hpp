#pragma once

#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

#include "sound_file.hpp"

namespace ringtrue {

/// Largest magnitude per channel and block of frames: all that is kept of a long file to find where it sounds.
struct PeakMap {
  std::size_t channels = 0;
  std::size_t block_frames = 512;
  std::int64_t frames = 0;
  std::vector<float> peaks;  // [block * channels + channel]

  [[nodiscard]] std::size_t blocks() const { return channels == 0 ? 0 : peaks.size() / channels; }
  [[nodiscard]] float peak(std::size_t block, std::size_t channel) const { return peaks[block * channels + channel]; }
};

/// Reads the whole file once. @throws InvalidInput  when it is empty, longer than 30 minutes or holds NaN or infinity
[[nodiscard]] PeakMap map_peaks(SoundReader& file);

/// A stretch in which a channel sounds, to the block; its edges are found by `edges`.
struct Activity {
  std::size_t channel = 0;
  std::size_t first_block = 0;
  std::size_t end_block = 0;
  float threshold = 0.0F;  // what counts as sound at the edges: 0 where the silence is digital zero
};

/// Where one channel rises above -90 dB re `file_peak`, or above its own noise floor where that is higher (dithered
/// silence). Silences of 0.1 s or more, counted in blocks, separate activities.
/// @param sample_rate_hz  of the file
[[nodiscard]] std::vector<Activity> find_activities(const PeakMap& map, std::size_t channel, float file_peak,
                                                    double sample_rate_hz);

/// Half-open range of the first to the last sample whose magnitude exceeds `threshold`; empty range: none does.
struct SampleRange {
  std::size_t begin = 0;
  std::size_t end = 0;
};
[[nodiscard]] SampleRange edges(std::span<const float> samples, float threshold);

}  // namespace ringtrue
