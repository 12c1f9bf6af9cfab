#pragma once

#include <cstddef>
#include <span>
#include <vector>

#include "ringtrue/dsp/real_fft.hpp"

namespace ringtrue {

/// The response of one speaker at one position, and what noise is in it.
///
/// From two sweeps: `mean` is their mean and `noise` half their difference, which has the same spectrum and power as
/// the noise in `mean` and nothing of the signal. From one: `mean` is that one, `noise` a stand-in of the same power
/// from another speaker's pair. Index `zero_index` is zero latency against the nominal time of the sweep.
struct Takes {
  double sample_rate_hz = 48'000.0;  // in the player's seconds
  std::size_t zero_index = 0;
  std::vector<float> mean;
  std::vector<float> noise;
};

/// Takes of two sweeps. Where only one goes on it is the mean, with the noise of the common part (backwards, and by the
/// square root of two stronger, as of one take).
[[nodiscard]] Takes combine(std::span<const float> first, std::span<const float> second, double sample_rate_hz,
                            std::size_t zero_index);

/// The spectra of takes, zero-padded so that a filter's ringing does not come round: made once for several measures.
struct TakeSpectra {
  explicit TakeSpectra(const Takes& takes);

  RealFft fft;
  Spectrum mean;
  Spectrum noise;
};

}  // namespace ringtrue
