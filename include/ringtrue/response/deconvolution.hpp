#pragma once

#include <complex>
#include <cstddef>
#include <span>
#include <vector>

#include "ringtrue/dsp/real_fft.hpp"
#include "ringtrue/dsp/scratch.hpp"
#include "ringtrue/response/microphone_response.hpp"
#include "ringtrue/stimulus/stimulus.hpp"

namespace ringtrue {

/// How a recorder sees the player's time: frame n of the recording was taken when the player was at stimulus time
/// n / rate_hz + start_s. `rate_hz` is the recorder's sample rate in the PLAYER's seconds: nominal * (1 + ppm 1e-6).
struct RecorderClock {
  double rate_hz = 48'000.0;
  double start_s = 0.0;

  [[nodiscard]] double frame_at(double stimulus_s) const { return (stimulus_s - start_s) * rate_hz; }
};

/// Which part of a response is kept, in seconds around the nominal time of the sweep.
struct ResponseWindow {
  double before_s = 0.06;
  double after_s = 0.7;
  double early_s = 0.0;  // before that, for `pair`: where the harmonics of the sweep fall
};

/// Recovers the response of one output from the stretch of a recording in which its sweep was played.
///
///     H = M Y conj(X) / (|X|^2 + e),   e = 1e-4 |X0|^2,  X0(f) = a fs sqrt(L / f) / 2
///
/// X is the spectrum of what was really played (fades included) on the recorder's clock, X0 that of the same sweep
/// without fades, M a zero-phase taper inside the sweep's band. Linear: the transform is long enough that harmonic
/// products, which fall L ln(k) early, stay out of the window. Sources: A. Farina, 108th AES Convention, preprint 5093
/// (2000); S. Mueller, P. Massarani, J. Audio Eng. Soc. 49(6), 443-471 (2001).
///
/// In single precision: what that adds lies below a recording's 24 bits (docs/deconvolution.md).
///
/// Immutable after construction: one instance serves many threads.
class Deconvolver {
 public:
  /// @param microphone  divided out of every response, by at most 40 dB either way; none: taken as flat
  Deconvolver(const SweepShape& shape, double stimulus_rate_hz, double recorder_rate_hz, ResponseWindow window,
              const MicrophoneResponse* microphone = nullptr);

  /// @param recording    one channel
  /// @param zero_frame   where, in (fractional) frames of the recording, the sweep's first sample would arrive at zero
  ///                     latency; frames outside the recording count as silence
  /// @returns            `length()` samples; sample `zero_index()` is zero latency; microphone full scale per output
  ///                     full scale
  [[nodiscard]] std::vector<double> response(std::span<const float> recording, double zero_frame) const;

  /// As `response` for two places at once, and the difference of the two stretches themselves (first minus second,
  /// both brought to the zero at sample `zero_index()`), `frames_needed()` samples.
  struct Pair {
    std::vector<double> first;
    std::vector<double> second;
    Scratch<float> difference;
    std::vector<double> first_early;  // the `early_s` that end where `first` begins
    std::vector<double> second_early;
  };
  [[nodiscard]] Pair pair(std::span<const float> recording, double first_zero_frame, double second_zero_frame) const;

  [[nodiscard]] std::size_t length() const { return before_ + after_; }
  [[nodiscard]] std::size_t zero_index() const { return before_; }
  /// Frames of recording one response needs, from zero_frame - zero_index() on.
  [[nodiscard]] std::size_t frames_needed() const { return sweep_frames_ + before_ + after_; }

 private:
  /// Spectrum of the stretch around a zero, brought to the whole frame before it at sample `before_`.
  [[nodiscard]] SingleSpectrum stretch_spectrum(std::span<const float> recording, double zero_frame) const;
  /// exp(+i w fraction): a zero lies a fraction of a frame after sample `before_`; this phase a bin brings it there.
  [[nodiscard]] double turn_of(double zero_frame) const;
  /// Response from its spectrum, which is destroyed.
  [[nodiscard]] std::vector<double> in_time(std::span<std::complex<float>> bins,
                                            std::vector<double>* early = nullptr) const;

  std::size_t before_;
  std::size_t after_;
  std::size_t early_;
  std::size_t sweep_frames_;
  SingleFft fft_;
  SingleSpectrum inverse_filter_;  // over n: its inverse transform needs no scaling
};

/// The band in which a sweep's response is flat to 1e-3 dB: its own band less the tapers of M.
[[nodiscard]] Band flat_band(Band sweep_band);

/// M at one frequency, 0 to 1: dividing by it where it is not too small undoes the taper outside `flat_band`.
[[nodiscard]] double band_taper(double frequency_hz, Band sweep_band);

}  // namespace ringtrue
