#pragma once

#include <algorithm>

#include "ringtrue/core/units.hpp"
#include "ringtrue/dsp/band_filter.hpp"

namespace ringtrue {

/// Where any subwoofer has fallen off, so that its response can be thinned out to 1 kHz.
constexpr Hertz subwoofer_taper_end{250.0};

/// Zero-phase gain over a subwoofer's sweep in which its onset is looked for; the deconvolver's own tapers are alike.
/// Nothing is left from `subwoofer_taper_end` on.
[[nodiscard]] inline double subwoofer_taper(double frequency_hz, Band band) {
  const Hertz high = std::min(band.high, subwoofer_taper_end);
  return tapered_gain(frequency_hz, {band.low, high}, 0.5, 0.35);
}

}  // namespace ringtrue
