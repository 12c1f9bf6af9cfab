#pragma once

#include <array>
#include <cstddef>
#include <span>
#include <vector>

namespace ringtrue {

/// What one look at every sample of a channel tells: the checks of a recording share it.
struct SampleSurvey {
  static constexpr std::size_t block_frames = 512;

  std::vector<float> least;  // of each block of frames, the last one maybe shorter
  std::vector<float> largest;
  std::vector<float> energy;  // sum of squares
  /// Least magnitude that is not zero: the step of the format the channel was stored in, as far as it shows, 2^-15 for
  /// 16 bits, next to nothing for floating point. 1: every sample is zero, or none is smaller.
  double least_magnitude = 1.0;
  bool any_zero = false;

  /// Largest magnitude; 0 without samples.
  [[nodiscard]] double extreme() const;
  /// True when every sample is the same, or there is none.
  [[nodiscard]] bool constant() const;
};

/// @param threads  0: one per core
[[nodiscard]] SampleSurvey survey_samples(std::span<const float> channel, unsigned threads = 1);

}  // namespace ringtrue
