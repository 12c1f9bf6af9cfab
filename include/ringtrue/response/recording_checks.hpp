#pragma once

#include <cstddef>
#include <optional>
#include <span>
#include <vector>

#include "ringtrue/response/sample_survey.hpp"

namespace ringtrue {

/// Frames [from, to) of a recording.
struct Stretch {
  std::size_t from = 0;
  std::size_t to = 0;
};

/// Frames at which a channel is clipped: flat tops, at full scale or anywhere below.
///
/// A signal that is not clipped rarely comes near its largest value; a clipped one piles up there. Of each sign, the
/// frames within 1.5 % of the extreme are counted: they are a pile when there are at least 24 and four times as many as
/// in the next 1.5 % (a steady sine, the worst case without clipping, has 2.4 times as many: acos(0.985) against
/// acos(0.97) - acos(0.985)). At full scale three equal frames in a row are enough.
/// Channels that stay below 2.1e-3 (-54 dBFS) are never clipped: there 1.5 % is less than a step of 16 bits.
/// @returns ascending frame numbers of the piles; empty when nothing is clipped
[[nodiscard]] std::vector<std::size_t> clipped_frames(std::span<const float> channel);
[[nodiscard]] std::vector<std::size_t> clipped_frames(std::span<const float> channel, const SampleSurvey& survey);

/// Runs of exact zeros that break into sound: 16 frames or more, with sound within 1 ms on both sides that is more than
/// 3e-4 of the channel's extreme and four steps of its format (less is zero for long by itself), and neither fades out
/// before nor in after the run. Such runs are lost buffers.
[[nodiscard]] std::vector<Stretch> dropped_stretches(std::span<const float> channel);
[[nodiscard]] std::vector<Stretch> dropped_stretches(std::span<const float> channel, const SampleSurvey& survey);

/// The first stretch that begins within `where` and repeats, to the last bit, what stood up to a quarter of a second
/// before it: a buffer that was played into the recording twice. Twelve of its values must differ: noise of a few steps
/// repeats by chance.
/// @param shortest  frames. Slopes of bass in 16 bits are equal over some 30 frames by chance: 24 only where something
///                  else says that the sound breaks, 60 anywhere
[[nodiscard]] std::optional<Stretch> repeated_stretch(std::span<const float> channel, Stretch where,
                                                      std::size_t shortest);

}  // namespace ringtrue
