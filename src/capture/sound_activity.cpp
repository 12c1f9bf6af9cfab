#include "sound_activity.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <bit>
#include <cmath>

#include "ringtrue/core/errors.hpp"

namespace ringtrue {
namespace {

constexpr double longest_activity_s = 1'800.0;
constexpr std::size_t read_samples = 65'536;              // 256 KiB: stays in the second-level cache
constexpr std::size_t most_peaks = std::size_t{1} << 22;  // 16 MiB of block peaks
constexpr std::size_t fewest_lanes = 16;                  // numbers compared side by side
constexpr float negligible = 3.1623e-5F;                  // -90 dB
constexpr float loudest_floor = 3.1623e-3F;               // -50 dB: what is louder is no dither
constexpr double separating_silence_s = 0.1;
constexpr std::int32_t magnitude_bits = 0x7FFF'FFFF;
constexpr std::int32_t infinity_bits = 0x7F80'0000;

/// Raises `peaks` (one per lane) to the magnitudes of rows of as many samples. Magnitudes of floats order like their
/// bits read as integers, which the compiler turns into vector code without -ffast-math; NaN and infinity come out
/// at or above `infinity_bits`.
void raise_to_rows(std::span<const float> samples, std::span<std::int32_t> peaks) {
  const std::size_t lanes = peaks.size();
  std::int32_t* const peak = peaks.data();
  for (const float* row = samples.data(); row < samples.data() + samples.size() / lanes * lanes; row += lanes) {
    for (std::size_t i = 0; i < lanes; ++i) {
      const std::int32_t magnitude = std::bit_cast<std::int32_t>(row[i]) & magnitude_bits;
      peak[i] = peak[i] < magnitude ? magnitude : peak[i];
    }
  }
}

/// Largest magnitude bits per channel in one block of interleaved frames.
void block_peaks(std::span<const float> block, std::span<std::int32_t> lanes, std::span<std::int32_t> peaks) {
  std::ranges::fill(lanes, 0);
  std::ranges::fill(peaks, 0);
  raise_to_rows(block, lanes);
  for (std::size_t i = 0; i < lanes.size(); ++i) {
    std::int32_t& peak = peaks[i % peaks.size()];
    peak = std::max(peak, lanes[i]);
  }
  raise_to_rows(block.last(block.size() % lanes.size()), peaks);
}

[[noreturn]] void refuse_not_a_number(const SoundReader& file, std::span<const float> block, std::size_t channel,
                                      std::int64_t first_frame) {
  std::size_t frame = 0;
  while (std::isfinite(block[frame * file.channels() + channel])) ++frame;
  const std::int64_t place = first_frame + static_cast<std::int64_t>(frame);
  throw InvalidInput{file.name(),
                     fmt::format("channel {} is not a number at {:.4f} s (frame {})", channel + 1,
                                 static_cast<double>(place) / file.sample_rate_hz(), place),
                     "make the file again"};
}

std::size_t block_length(const SoundReader& file) {
  const std::size_t peaks_at_512 = std::max<std::size_t>(1, file.expected_frames() / 512) * file.channels();
  return 512 * std::bit_ceil((peaks_at_512 + most_peaks - 1) / most_peaks);
}

/// The level below which a channel's quietest tenth stays, doubled for the dither's own peaks; 0: digital zero.
float noise_floor(const PeakMap& map, std::size_t channel) {
  std::vector<float> peaks(map.blocks());
  for (std::size_t b = 0; b < peaks.size(); ++b) peaks[b] = map.peak(b, channel);
  const auto tenth = peaks.begin() + static_cast<std::ptrdiff_t>(peaks.size() / 10);
  std::ranges::nth_element(peaks, tenth);
  return 2.0F * *tenth;
}

}  // namespace

PeakMap map_peaks(SoundReader& file) {
  PeakMap map{file.channels(), block_length(file), 0, {}};
  const std::size_t block_samples = map.block_frames * map.channels;
  std::vector<float> buffer(std::max<std::size_t>(1, read_samples / block_samples) * block_samples);
  std::vector<std::int32_t> lanes(map.channels * std::bit_ceil((fewest_lanes + map.channels - 1) / map.channels));
  std::vector<std::int32_t> peaks(map.channels);
  for (std::size_t frames = file.read(buffer); frames > 0; frames = file.read(buffer)) {
    const std::span read{buffer.data(), frames * map.channels};
    for (std::size_t at = 0; at < read.size(); at += block_samples) {
      const auto block = read.subspan(at, std::min(block_samples, read.size() - at));
      block_peaks(block, lanes, peaks);
      for (std::size_t c = 0; c < map.channels; ++c) {
        if (peaks[c] >= infinity_bits) refuse_not_a_number(file, block, c, map.frames);
        map.peaks.push_back(std::bit_cast<float>(peaks[c]));
      }
      map.frames += static_cast<std::int64_t>(block.size() / map.channels);
    }
    if (static_cast<double>(map.frames) > longest_activity_s * file.sample_rate_hz()) {
      throw InvalidInput{file.name(), "is longer than 30 minutes", "make the stimulus again with shorter sweeps"};
    }
  }
  if (map.frames == 0) throw InvalidInput{file.name(), "holds no samples", "make the stimulus again"};
  return map;
}

std::vector<Activity> find_activities(const PeakMap& map, std::size_t channel, float file_peak, double sample_rate_hz) {
  const float floor = noise_floor(map, channel);
  const float threshold = std::max(negligible * file_peak, std::min(floor, loudest_floor * file_peak));
  const float edge = floor == 0.0F ? 0.0F : threshold;
  const double block_s = static_cast<double>(map.block_frames) / sample_rate_hz;
  const auto silent_blocks = static_cast<std::size_t>(std::max(1.0, std::round(separating_silence_s / block_s - 1.0)));
  std::vector<Activity> activities;
  for (std::size_t b = 0; b < map.blocks(); ++b) {
    if (map.peak(b, channel) <= threshold) continue;
    const bool same = !activities.empty() && b - activities.back().end_block < silent_blocks;
    if (!same) activities.push_back({channel, b, b, edge});
    activities.back().end_block = b + 1;
  }
  for (Activity& activity : activities) {  // out to where the fades vanish
    while (activity.first_block > 0 && map.peak(activity.first_block - 1, channel) > edge) --activity.first_block;
    while (activity.end_block < map.blocks() && map.peak(activity.end_block, channel) > edge) ++activity.end_block;
  }
  return activities;
}

SampleRange edges(std::span<const float> samples, float threshold) {
  SampleRange range{0, samples.size()};
  while (range.begin < range.end && std::abs(samples[range.begin]) <= threshold) ++range.begin;
  while (range.end > range.begin && std::abs(samples[range.end - 1]) <= threshold) --range.end;
  return range;
}

}  // namespace ringtrue
