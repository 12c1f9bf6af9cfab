#pragma once

#include <optional>
#include <vector>

#include "ringtrue/core/units.hpp"
#include "ringtrue/response/arrival.hpp"
#include "ringtrue/response/measurement.hpp"

namespace ringtrue {

/// Where a subwoofer's response begins, and which way it goes.
struct SubwooferOnset {
  Arrival arrival;
  WooferSign sign = WooferSign::unsure;
};

/// As subwoofer_arrival, with the sign.
/// @param band  the sweep's whole band
[[nodiscard]] std::optional<SubwooferOnset> subwoofer_onset(const Takes& takes, Band band);

/// Impulse responses of band-pass subwoofers as the deconvolver would show them (inside its tapers): Butterworth
/// high-pass of order 2 and 4 at 20 and 30 Hz, low-pass of order 2 and 4 at 90, 120 and 155 Hz. Circular: sample 0 is
/// the onset, what the tapers let ring before it stands at the end.
[[nodiscard]] std::vector<std::vector<double>> subwoofer_models(Band band, double sample_rate_hz);

}  // namespace ringtrue
