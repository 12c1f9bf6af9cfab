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

constexpr double quiet_before_s = 0.06;      // of the earliest arrival: noise, and what arrives early against it
constexpr double next_sweep_guard_s = 0.02;  // what comes next may come from a nearer speaker

/// The whole frame a zero lies on or after; within 1e-6 of one it lies on it.
[[nodiscard]] double frame_before(double zero_frame);

/// Which part of a response is kept, in seconds around the nominal time of the sweep.
struct ResponseWindow {
  double before_s = 0.06;
  double after_s = 0.7;
  double early_s = 0.0;  // before that, for `pair`: where the harmonics of the sweep fall
  double long_s = 0.0;   // after it as well, for `pair`: longer than `after_s`; else there is no long response
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
/// In single precision: what that adds lies below a recording's 24 bits (docs/measuring.md).
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
  [[nodiscard]] std::vector<float> response(std::span<const float> recording, double zero_frame) const;

  /// The same from `low` on and without the treble, of which `thinned` samples are left to one: sample
  /// `zero_index() / thinned` is zero latency. @param thinned  a power of two up to 64
  [[nodiscard]] std::vector<float> thinned_response(std::span<const float> recording, double zero_frame, Hertz low,
                                                    std::size_t thinned) const;

  /// Two places of a sweep in a recording.
  struct Places {
    std::ptrdiff_t first = 0;  // frames at which the stretches around them begin
    std::ptrdiff_t second = 0;
    bool in_step = false;  // whole frames apart
  };
  [[nodiscard]] Places places(double first_zero_frame, double second_zero_frame) const;

  /// Of two stretches in step, first minus second: samples `from` on of the `frames_needed()`, as many as `part` holds.
  static void difference(std::span<const float> recording, const Places& places, std::size_t from,
                         std::span<float> part);

  /// As `response` for two places at once. Where they are not in step also the difference of the two stretches, as
  /// above, both brought to the zero at sample `zero_index()`.
  struct Pair {
    std::vector<float> first;
    std::vector<float> second;
    Scratch<float> difference;
    std::vector<float> first_early;  // the `early_s` that end where `first` begins
    std::vector<float> second_early;
    std::vector<float> first_long;  // `first` and what follows it up to `long_s`
    std::vector<float> second_long;
  };
  [[nodiscard]] Pair pair(std::span<const float> recording, double first_zero_frame, double second_zero_frame) const;

  [[nodiscard]] std::size_t length() const { return before_ + after_; }
  [[nodiscard]] std::size_t zero_index() const { return before_; }
  /// Frames of recording one response needs, from zero_frame - zero_index() on; a long one needs more.
  [[nodiscard]] std::size_t frames_needed() const { return sweep_frames_ + before_ + after_; }
  /// Samples of the transforms a response takes.
  [[nodiscard]] std::size_t transform_size() const { return fft_.size(); }

 private:
  /// First frame of the stretch around a zero, whose whole frame before it comes to sample `before_`.
  [[nodiscard]] std::ptrdiff_t stretch_begin(double zero_frame) const;
  /// What transforms work in.
  struct Buffers {
    Scratch<float> time;
    SingleSpectrum bins;
  };
  /// Spectrum of the stretch that begins at a frame, in buffers.bins.
  void stretch_spectrum(std::span<const float> recording, std::ptrdiff_t begin, Buffers& buffers) const;
  /// exp(+i w fraction): a zero lies a fraction of a frame after sample `before_`; this phase a bin brings it there.
  [[nodiscard]] double turn_of(double zero_frame) const;
  /// Makes the spectrum of a stretch that of its response.
  void filter(double turn, std::span<std::complex<float>> bins) const;
  /// Of two stretches, from their spectra, first minus second in time.
  [[nodiscard]] Scratch<float> difference(const SingleSpectrum& first, double first_turn, const SingleSpectrum& second,
                                          double second_turn) const;
  [[nodiscard]] std::vector<float> window_of(const Scratch<float>& time) const;
  [[nodiscard]] std::vector<float> early_of(const Scratch<float>& time) const;
  [[nodiscard]] std::vector<float> long_of(const Scratch<float>& time) const;

  std::size_t before_;
  std::size_t after_;
  std::size_t early_;
  std::size_t longest_;  // after_, or more
  std::size_t sweep_frames_;
  double rate_hz_;
  SingleFft fft_;
  SingleSpectrum inverse_filter_;  // over n: its inverse transform needs no scaling
};

/// The band in which a sweep's response is flat to 1e-3 dB: its own band less the tapers of M.
[[nodiscard]] Band flat_band(Band sweep_band);

/// M at one frequency, 0 to 1: dividing by it where it is not too small undoes the taper outside `flat_band`.
[[nodiscard]] double band_taper(double frequency_hz, Band sweep_band);

}  // namespace ringtrue
