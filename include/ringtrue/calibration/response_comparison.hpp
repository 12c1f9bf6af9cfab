#pragma once

#include <complex>
#include <optional>
#include <vector>

#include "ringtrue/calibration/calibration.hpp"
#include "ringtrue/response/measurement.hpp"

namespace ringtrue {

/// A speaker's response as a spectrum at multiples of 1 / 0.8 s up to 20 kHz, its direct sound at time 0. Responses of
/// different sample rates share these frequencies.
struct ArrivedResponse {
  double arrival_ms = 0.0;  // after the time reference
  std::vector<std::complex<double>> bins;
  double end_s = 0.7;  // where the response ends, after its arrival

  [[nodiscard]] static double frequency_hz(std::size_t bin) { return static_cast<double>(bin) / 0.8; }
};

/// @returns empty when the speaker was not heard
[[nodiscard]] std::optional<ArrivedResponse> at_arrival(const SpeakerMeasurement& measured);

/// Gain in dB of an equaliser's filters, one after another, at one frequency.
[[nodiscard]] double equaliser_gain_db(const std::vector<Filter>& filters, double frequency_hz, double sample_rate_hz);

/// What the interface makes of a response once settings are typed in: equaliser, trim, polarity; the delay moves the
/// arrival. Settings that are empty count as 0.
[[nodiscard]] ArrivedResponse through_settings(const ArrivedResponse& response, const Settings& settings,
                                               double sample_rate_hz);

/// One twelfth of an octave of a comparison.
struct BandDifference {
  double frequency_hz = 1'000.0;
  double level_db = 0.0;  // measured over expected
  double uncertainty_db =
      0.0;  // one standard deviation: how well the two agree inside the band; in the bass, noise too
};

/// What lies between a response that was expected and the one that was measured.
struct ResponseDifference {
  double later_ms = 0.0;  // measured after expected
  double later_uncertainty_ms = 0.0;
  double louder_db = 0.0;  // weighted median over the bands in which levels are set
  double louder_uncertainty_db = 0.0;
  bool inverted = false;
  double likeness = 0.0;              // 0 to 1: share of the measured response that is the expected one
  std::vector<BandDifference> bands;  // ascending; where the sweep is flat
};

/// Compares the direct sound and what follows at once: 25 ms above 250 Hz, 250 ms below, so that neither a moved chair
/// nor a warmer room matters much.
///
///     C(f) = M(f) conj(E(f)),   later = argmax |Re sum C(f) exp(2 pi i f later)|,   level_db = 20 lg |sum C| / sum
///     |E|^2
///
/// Mains are timed in 1.2-16 kHz, subs in their whole band. Delay by generalised cross-correlation (C. H. Knapp,
/// G. C. Carter, IEEE Trans. ASSP 24(4), 320-327, 1976), each twelfth of an octave at equal weight; level uncertainty
/// from the coherence in each band.
/// @param band  what the speaker was driven with
[[nodiscard]] ResponseDifference compare_responses(const ArrivedResponse& expected, const ArrivedResponse& measured,
                                                   SpeakerKind kind, Band band);

}  // namespace ringtrue
