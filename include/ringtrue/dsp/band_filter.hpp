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

/// The same for many frequencies of one band: no logarithm where it is 0 or 1.
class TaperedGain {
 public:
  TaperedGain(Band band, double low_octaves, double high_octaves);
  [[nodiscard]] double at(double frequency_hz) const {
    if (frequency_hz >= flat_.low.value() && frequency_hz <= flat_.high.value()) return 1.0;
    return in_a_taper(frequency_hz);
  }

 private:
  [[nodiscard]] double in_a_taper(double frequency_hz) const;

  Band band_;
  Band flat_;
  double low_octaves_;
  double high_octaves_;
};

/// Bins [from, to) of a transform that lie strictly inside a band.
struct BinRange {
  std::size_t from = 0;
  std::size_t to = 0;
};
[[nodiscard]] BinRange bins_inside(const RealFft& fft, Band band, Hertz sample_rate);

/// Gain of the window of `hann_band_analytic` for the bins of `bins_inside`, in order.
[[nodiscard]] std::vector<double> hann_band_gains(const RealFft& fft, Band band, Hertz sample_rate);

/// In-phase and quadrature parts of a band-filtered signal: x + i Hilbert(x).
struct AnalyticSignal {
  Scratch<double> in_phase;
  Scratch<double> quadrature;
};

/// Filters with the window 0.5 - 0.5 cos(2 pi (f - low) / (high - low)) (Hann over linear frequency: side lobes of the
/// pulse fall below -31 dB at once) and returns the analytic signal, zero phase, circular.
/// @param bins  one-sided spectrum of fft.size() samples
[[nodiscard]] AnalyticSignal hann_band_analytic(const RealFft& fft, std::span<const std::complex<double>> bins,
                                                Band band, Hertz sample_rate);
/// The same with the window's gains at hand: those of `hann_band_gains`.
[[nodiscard]] AnalyticSignal hann_band_analytic(const RealFft& fft, std::span<const std::complex<double>> bins,
                                                Band band, Hertz sample_rate, std::span<const double> gains);

/// Zero-phase filter with `tapered_gain`, circular; returns fft.size() samples.
[[nodiscard]] std::vector<double> tapered_band(const RealFft& fft, std::span<const std::complex<double>> bins,
                                               Band band, double low_octaves, double high_octaves, Hertz sample_rate);

/// As `tapered_band`, at `sample_rate / keep_one_in`: the inverse transform is as much shorter. Nothing is lost where
/// the band ends below half of that. @param keep_one_in  divides fft.size() / 2
[[nodiscard]] std::vector<double> thinned_tapered_band(const RealFft& fft, std::span<const std::complex<double>> bins,
                                                       Band band, double low_octaves, double high_octaves,
                                                       Hertz sample_rate, std::size_t keep_one_in);

/// Magnitude of an analytic signal.
[[nodiscard]] std::vector<double> envelope(const AnalyticSignal& signal);

}  // namespace ringtrue
