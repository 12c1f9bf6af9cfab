#pragma once

#include <array>
#include <complex>
#include <cstddef>
#include <vector>

#include "ringtrue/core/geometry.hpp"
#include "ringtrue/dsp/real_fft.hpp"
#include "sinc_kernel.hpp"

namespace ringtrue {

/// A rectangular room; one corner is the origin, the room fills 0 <= x, y, z <= size.
struct Shoebox {
  Point size_m;
  std::array<double, 6> absorption{};  // energy, at 1 kHz: walls at x = 0, x = size, y = 0, y = size, z = 0, z = size
  double speed_of_sound_m_s = 343.2;
};

/// Reverberation time at 1 kHz by Eyring: T = 24 ln10 V / (-c S ln(1 - mean absorption)), seconds; 0 when all is
/// absorbed. Source: C. F. Eyring, "Reverberation time in 'dead' rooms", J. Acoust. Soc. Am. 1 (1930) 217-241.
[[nodiscard]] double eyring_time_s(const Shoebox& room);

/// The same turned round: the even absorption that gives that time. @param time_s  > 0
[[nodiscard]] double eyring_absorption(const Shoebox& room, double time_s);

/// How a wall's loss grows with frequency: one reflection multiplies by exp(-k G(f)), k = -ln(1 - absorption) / 2,
///     G(f) = 0.65 + 0.7 jx / (1 + jx),  x = f / 1 kHz,  real part 0.65 at 0 Hz, 1 at 1 kHz, 1.35 far above:
/// causal, minimum-phase, and reflections only add up their k. A choice of ours, so that treble dies twice as fast as
/// bass, as in furnished rooms.
[[nodiscard]] std::complex<double> wall_loss(double frequency_hz);

/// Transfer functions between two places in a shoebox by image sources.
/// Source: J. B. Allen, D. A. Berkley, "Image method for efficiently simulating small-room acoustics", J. Acoust. Soc.
/// Am. 65 (1979) 943-950; here with exact fractional delays and the loss above.
///
/// Direct sound and first reflections: exact phase up to half the sample rate. Later ones: windowed sinc of 32 taps,
/// delays exact to 1/1024 sample up to 0.4 of the sample rate. Reflections are summed until they have lost 65 dB on
/// the walls at 1 kHz, but no longer than 1.5 s and the nearest 400 000, and fade out over the last tenth of that time.
class ImageSources {
 public:
  /// @param extra_s  room to keep at the end for what follows in the chain to ring out
  ImageSources(const Shoebox& room, double sample_rate_hz, double extra_s);

  /// Frames by which responses start before time 0, so that band-limited pulses are whole.
  [[nodiscard]] static constexpr std::size_t lead_frames() { return 64; }
  [[nodiscard]] const RealFft& fft() const { return fft_; }

  /// Spectrum of the response, delayed by lead_frames(); amplitude 1/r at r metres. Callable from any thread.
  [[nodiscard]] std::vector<std::complex<double>> response(Point source_m, Point microphone_m) const;

 private:
  struct Deposit;
  void add_images(Point source_m, Point microphone_m, Deposit& deposit) const;
  void add_image(double delay_frames, double amplitude, double loss, bool exact, Deposit& deposit) const;

  Shoebox room_;
  double sample_rate_hz_;
  double end_s_;
  RealFft fft_;
  SincKernel kernel_;
  std::vector<std::complex<double>> step_loss_;  // exp(-step G(f)) per bin
};

}  // namespace ringtrue
