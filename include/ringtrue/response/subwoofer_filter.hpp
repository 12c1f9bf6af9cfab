#pragma once

#include <algorithm>

#include "ringtrue/core/units.hpp"
#include "ringtrue/dsp/band_filter.hpp"

namespace ringtrue {

/// Zero-phase gain over a subwoofer's sweep in which its onset is looked for; the deconvolver's own tapers are alike.
/// Ends at 250 Hz, where any subwoofer has fallen off, so that the response can be thinned out to 1 kHz.
[[nodiscard]] inline double subwoofer_taper(double frequency_hz, Band band) {
  const Hertz high = std::min(band.high, Hertz{250.0});
  return tapered_gain(frequency_hz, {band.low, high}, 0.5, 0.35);
}

}  // namespace ringtrue
