#pragma once

#include <cstdint>
#include <memory>
#include <span>
#include <vector>

#include "image_source.hpp"
#include "ringtrue/capture/virtual_room.hpp"

namespace ringtrue {

/// How one virtual speaker sounds at one microphone: samples[lead] is the moment its input gets the impulse.
struct SpeakerResponse {
  std::vector<double> samples;
  std::int64_t lead = 0;  // negative where a delay was taken out of the samples
};

/// What the microphone hears of one sweep shape played by one speaker; samples[lead] goes with the sweep's first.
struct SpeakerSound {
  std::size_t shape = 0;
  std::vector<double> samples;
  std::int64_t lead = 0;
};

/// Response by model and image sources. Above 0.45 of the sample rate it rolls off to nothing at half of it, as the
/// converters' filters do.
/// @param place_m, microphone_m  in the shoebox's coordinates
[[nodiscard]] SpeakerResponse modelled_response(const VirtualSpeaker& speaker, const ImageSources& room, Point place_m,
                                                Point microphone_m, double sample_rate_hz);

/// Response read from the file for that mic position, converted to `sample_rate_hz`; gain, polarity and delay apply.
/// A name may end in "#3" for the file's third channel; without, it is the first.
/// @throws InvalidInput  when there is no file for that position, or it cannot be read or is longer than 10 s
[[nodiscard]] SpeakerResponse measured_response(const VirtualSpeaker& speaker, std::size_t position,
                                                double sample_rate_hz);

/// A shape as the speaker's driver gets it, with its spectrum at one transform size.
class DrivenShape {
 public:
  /// @param shape  zero-padded to fft.size(), which leaves room for the response
  DrivenShape(std::span<const double> shape, std::shared_ptr<const RealFft> fft);

  /// The shape convolved with a response; with the speaker's harmonic distortion, percent of a sine at the shape's
  /// peak:
  ///     y = x + h2 P (2 u^2) + h3 P (4 u^3 - 3 u),  u = x / P,  P = peak of the shape
  /// The Chebyshev polynomials turn a sine of amplitude P into its second and third harmonic. Computed at twice the
  /// sample rate, so that what lies above half the sample rate is missing and not folded back.
  [[nodiscard]] std::vector<double> through(std::span<const double> response, const VirtualSpeaker& speaker) const;

 private:
  [[nodiscard]] std::vector<std::complex<double>> harmonics(const VirtualSpeaker& speaker) const;

  double peak_;
  std::size_t frames_;
  std::shared_ptr<const RealFft> fft_;
  Spectrum bins_;
};

}  // namespace ringtrue
