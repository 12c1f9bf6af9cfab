#pragma once

#include <optional>

#include "ringtrue/core/units.hpp"
#include "ringtrue/response/takes.hpp"

namespace ringtrue {

/// When the direct sound begins.
struct Arrival {
  double index = 0.0;                // fractional sample of Takes::mean
  double uncertainty_samples = 0.0;  // one standard deviation
  double height_db = 0.0;            // of the direct sound in the band that was looked at, dB re unity gain
  double dispersion_samples = 0.0;   // how much later the lower half of the band arrives than the upper
  double signal_to_noise_db = 0.0;   // height of the direct sound over the rms noise in the same band
};

/// Arrival of a full-range speaker's direct sound: the first peak of the envelope in its upper band that stands within
/// 18 dB of the highest and 8 times over the noise, interpolated by a parabola through the logarithms.
///
/// High frequencies are used because there the crossover and box of any speaker delay least: the response of a
/// minimum-phase or all-pass network begins with its high frequencies.
/// The uncertainty is that of the noise and of all later sound whose side lobes reach back to the peak.
/// @param band  where the sweep is flat; the Hann window over its upper 3.5 octaves (at most 1.5-20 kHz) is the filter
/// @returns empty when nothing stands out of the noise: the speaker is silent
[[nodiscard]] std::optional<Arrival> full_range_arrival(const Takes& takes, Band band);
[[nodiscard]] std::optional<Arrival> full_range_arrival(const Takes& takes, const TakeSpectra& spectra, Band band);

/// The height a direct sound must have in that band to be told from the noise, dB re unity gain.
[[nodiscard]] double detection_limit_db(const Takes& takes, const TakeSpectra& spectra, Band band);

/// Arrival of a subwoofer: the start of the band-pass response (Butterworth high-pass and low-pass of usual orders and
/// corners) that fits the first rise best. Good to about a millisecond; the uncertainty says how far equally good fits
/// lie apart.
/// @returns empty when nothing stands out of the noise
[[nodiscard]] std::optional<Arrival> subwoofer_arrival(const Takes& takes, Band band);

}  // namespace ringtrue
