#pragma once

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <vector>

#include "response/simulated.hpp"
#include "ringtrue/capture/recording.hpp"

/// What may befall a recording. Frames are counted in the recording as it is then; both channels are hit alike where
/// the recorder is at fault.
namespace ringtrue::test {

inline void clip(Recording& recording, float level) {
  for (float& x : recording.microphone) x = std::clamp(x, -level, level);
}

inline void zero(Recording& recording, std::size_t from, std::size_t frames) {
  const auto at = static_cast<std::ptrdiff_t>(from);
  for (auto* channel : {&recording.microphone, &recording.loopback}) {
    if (!channel->empty()) std::fill_n(channel->begin() + at, frames, 0.0F);
  }
}

inline void lose(Recording& recording, std::size_t from, std::size_t frames) {
  const auto at = static_cast<std::ptrdiff_t>(from);
  for (auto* channel : {&recording.microphone, &recording.loopback}) {
    if (!channel->empty())
      channel->erase(channel->begin() + at, channel->begin() + at + static_cast<std::ptrdiff_t>(frames));
  }
}

/// A buffer comes once more: everything after it is late.
inline void insert_again(Recording& recording, std::size_t from, std::size_t frames) {
  for (auto* channel : {&recording.microphone, &recording.loopback}) {
    if (channel->empty()) continue;
    const auto at = channel->begin() + static_cast<std::ptrdiff_t>(from);
    const std::vector<float> buffer(at - static_cast<std::ptrdiff_t>(frames), at);
    channel->insert(at, buffer.begin(), buffer.end());
  }
}

/// A buffer comes instead of the next one: nothing moves.
inline void play_again(Recording& recording, std::size_t from, std::size_t frames) {
  const auto at = static_cast<std::ptrdiff_t>(from);
  const auto size = static_cast<std::ptrdiff_t>(frames);
  for (auto* channel : {&recording.microphone, &recording.loopback}) {
    if (!channel->empty()) std::copy_n(channel->begin() + at - size, size, channel->begin() + at);
  }
}

/// White noise through the microphone alone.
inline void burst(Recording& recording, std::size_t from, std::size_t frames, double rms, std::uint64_t seed = 7) {
  Noise noise{seed};
  for (std::size_t n = from; n < from + frames; ++n) recording.microphone[n] += static_cast<float>(rms * noise.next());
}

inline void amplify(Recording& recording, float gain) {
  for (float& x : recording.microphone) x *= gain;
}

/// As a 16-bit file holds it, without dither.
inline void to_16_bits(std::vector<float>& channel) {
  for (float& x : channel) x = std::clamp(std::nearbyint(x * 32'768.0F), -32'768.0F, 32'767.0F) / 32'768.0F;
}

}  // namespace ringtrue::test
