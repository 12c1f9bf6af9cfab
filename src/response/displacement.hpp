#pragma once

#include <array>
#include <cstddef>
#include <optional>
#include <span>

namespace ringtrue {

/// Part of one take that lies elsewhere on the time line than the same part of the other take.
struct Displacement {
  double frames = 0.0;  // that were lost or put in
  bool put_in = false;
  int take = 0;  // which take they are missing from, or too many in
};

/// Where the two takes of a sweep differ, looks whether they are the same sound at another time: samples were lost or
/// put in during one of the two sweeps. Needed for the first and the last sweep of a recording, which no other pair
/// spans.
///
/// @param starts   frames of the recording at which both takes begin
/// @param from, to  where they differ, frames after `starts`
/// @param sweep_from, sweep_to  where the sweep plays, frames after `starts`
/// @returns empty when the sound is another one (correlation below 0.9), or lies less than 6 frames off
[[nodiscard]] std::optional<Displacement> find_displacement(std::span<const float> channel,
                                                            std::array<std::ptrdiff_t, 2> starts, std::ptrdiff_t from,
                                                            std::ptrdiff_t to, std::ptrdiff_t sweep_from,
                                                            std::ptrdiff_t sweep_to);

}  // namespace ringtrue
