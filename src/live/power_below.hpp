#pragma once

#include <span>

#include "ringtrue/core/units.hpp"

namespace ringtrue {

/// Mean square of what a stretch holds between 30 Hz and `limit`, by a Hann-windowed spectrum.
/// @param interleaved  `channel` of `channels` is looked at
[[nodiscard]] double power_below(std::span<const float> interleaved, std::size_t channels, std::size_t channel,
                                 Hertz limit, Hertz rate);

}  // namespace ringtrue
