#pragma once

#include <cstdint>
#include <random>
#include <vector>

#include "ringtrue/capture/recording.hpp"
#include "ringtrue/rig/rig.hpp"
#include "ringtrue/stimulus/stimulus.hpp"

namespace ringtrue::test {

/// What a card with a lag hears of a stimulus: the loopback is the sum of all outputs, the microphone the same through
/// `gain` and with white noise of that rms.
[[nodiscard]] inline Recording played(const Stimulus& stimulus, const Rig& rig, std::int64_t lag, float gain = 0.3F,
                                      float noise = 0.0F, unsigned seed = 1) {
  const auto channels = static_cast<std::size_t>(stimulus.channels);
  std::vector<float> all(static_cast<std::size_t>(stimulus.frames) * channels);
  render(stimulus, rig, 0, all);
  Recording recording;
  recording.name = "test";
  recording.sample_rate_hz = stimulus.sample_rate_hz;
  std::mt19937 generator{seed};
  std::normal_distribution<float> normal{0.0F, 1.0F};
  for (std::int64_t n = 0; n < stimulus.frames; ++n) {
    float sum = 0.0F;
    const std::int64_t at = n - lag;
    for (std::size_t c = 0; at >= 0 && c < channels; ++c) sum += all[static_cast<std::size_t>(at) * channels + c];
    recording.loopback.push_back(sum);
    recording.microphone.push_back(gain * sum + (noise > 0.0F ? noise * normal(generator) : 0.0F));
  }
  return recording;
}

/// Takes frames out of both channels at a place, and fills up at the end.
inline void drop(Recording& recording, std::size_t at, std::size_t frames) {
  for (auto* channel : {&recording.microphone, &recording.loopback}) {
    channel->erase(channel->begin() + static_cast<std::ptrdiff_t>(at),
                   channel->begin() + static_cast<std::ptrdiff_t>(at + frames));
    channel->resize(channel->size() + frames);
  }
}

}  // namespace ringtrue::test
