#pragma once

#include <optional>
#include <vector>

#include "ringtrue/core/units.hpp"
#include "ringtrue/response/arrival.hpp"

namespace ringtrue {

/// Where a subwoofer's response begins, and with which sign and size.
struct SubwooferOnset {
  Arrival arrival;
  double gain = 0.0;  // of the model that fits best; negative: the first rise goes down
};

/// As subwoofer_arrival, with the sign.
[[nodiscard]] std::optional<SubwooferOnset> subwoofer_onset(const Takes& takes, Band band);

/// Impulse responses of band-pass subwoofers, beginning at sample 0, as the deconvolver would show them (inside
/// `band`): Butterworth high-pass of order 2 and 4 at 18-45 Hz, low-pass of order 2 and 4 at 70-200 Hz (each 4th-order
/// one also as Linkwitz-Riley), unit energy.
[[nodiscard]] std::vector<std::vector<double>> subwoofer_models(Band band, double sample_rate_hz);

}  // namespace ringtrue
