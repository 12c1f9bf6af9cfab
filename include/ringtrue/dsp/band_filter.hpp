#pragma once

#include <complex>
#include <span>
#include <vector>

#include "ringtrue/core/units.hpp"
#include "ringtrue/dsp/real_fft.hpp"

namespace ringtrue {

/// Raised-cosine gain of a zero-phase band filter: 0 outside [low, high], 1 in between, rising and falling over
/// `low_octaves` and `high_octaves` inside the band as a half cosine in log frequency.
[[nodiscard]] double tapered_gain(double frequency_hz, Band band, double low_octaves, double high_octaves);

/// In-phase and quadrature parts of a band-filtered signal: x + i Hilbert(x).
struct AnalyticSignal {
  std::vector<double> in_phase;
  std::vector<double> quadrature;
};

/// Filters with the window 0.5 - 0.5 cos(2 pi (f - low) / (high - low)) (Hann over linear frequency: side lobes of the
/// pulse fall below -31 dB at once) and returns the analytic signal, zero phase, circular.
/// @param bins  one-sided spectrum of fft.size() samples
[[nodiscard]] AnalyticSignal hann_band_analytic(const RealFft& fft, std::span<const std::complex<double>> bins,
                                                Band band, Hertz sample_rate);

/// Zero-phase filter with `tapered_gain`, circular; returns fft.size() samples.
[[nodiscard]] std::vector<double> tapered_band(const RealFft& fft, std::span<const std::complex<double>> bins,
                                               Band band, double low_octaves, double high_octaves, Hertz sample_rate);

/// Magnitude of an analytic signal.
[[nodiscard]] std::vector<double> envelope(const AnalyticSignal& signal);

}  // namespace ringtrue
