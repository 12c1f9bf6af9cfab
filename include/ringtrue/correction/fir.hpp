#pragma once

#include <complex>
#include <span>
#include <vector>

#include "ringtrue/correction/response_to_correct.hpp"

namespace ringtrue {

/// A gain over frequency; between its points straight in dB over log frequency, beyond its ends the last value.
struct GainCurve {
  std::vector<double> frequency_hz;  // ascending, > 0, at least one
  std::vector<double> gain_db;
};

/// A finite impulse response, and how far its zero lies behind its first sample.
struct Fir {
  std::vector<double> taps;
  std::size_t delay = 0;  // samples; the same for all outputs of a rig
};

/// Minimum-phase filter of a gain, by folding the cepstrum of ln |H|; the last quarter fades out.
/// Source: A. V. Oppenheim, R. W. Schafer, "Discrete-Time Signal Processing" (from memory).
/// @param taps  16 to 262144; features narrower than about sample rate / taps are blurred
[[nodiscard]] Fir minimum_phase_fir(const GainCurve& gain, std::size_t taps, Hertz sample_rate);

/// What a speaker's direct sound has of phase beyond its minimum phase and a delay, rad, over 400 Hz-10 kHz: mostly its
/// crossover. On the bins of a transform of `fft_size` samples at `sample_rate`. From 4 ms of the response; faded to
/// nothing towards the ends of that band.
[[nodiscard]] std::vector<double> excess_phase(const HeardResponse& response, std::size_t fft_size, Hertz sample_rate);

/// How much may sound before a mixed-phase filter's own zero.
struct PreRinging {
  double longest_ms = 3.0;   // nothing earlier
  double energy_db = -30.0;  // of the filter's energy more than 0.25 ms early
};

/// The minimum-phase filter with as much of the excess phase undone as the bounds on pre-ringing allow.
[[nodiscard]] Fir mixed_phase_fir(const GainCurve& gain, const HeardResponse& response, const PreRinging& bounds,
                                  std::size_t taps, Hertz sample_rate);

/// Energy more than 0.25 ms before the zero over the whole, dB.
[[nodiscard]] double early_energy_db(const Fir& fir, Hertz sample_rate);

/// H(f) of the taps with the delay taken out.
[[nodiscard]] std::complex<double> frequency_response(const Fir& fir, Hertz frequency, Hertz sample_rate);

/// Largest gain at any frequency, dB; on the bins of a transform four times as long.
[[nodiscard]] double largest_gain_db(const Fir& fir);

/// Gain in dB at frequencies below half the sample rate, from such a transform.
[[nodiscard]] std::vector<double> gain_db(const Fir& fir, std::span<const double> frequency_hz, Hertz sample_rate);

}  // namespace ringtrue
