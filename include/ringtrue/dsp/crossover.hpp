#pragma once

#include "ringtrue/core/units.hpp"
#include "ringtrue/dsp/biquad.hpp"
#include "ringtrue/dsp/crossover_slope.hpp"

namespace ringtrue {

/// Butterworth filters of any order n >= 1 as sections: bilinear transform, exact (-3.01 dB) at `corner`.
///
///     |H|^2 = 1 / (1 + W^2n),  W = tan(pi f / fs) / tan(pi fc / fs) (low pass; high pass: 1 / W)
///
/// Second-order sections of Q = 1 / (2 cos t), t the pole angles pi (2 k + 1) / (2 n) for even n, pi k / n for odd n,
/// and one first-order section where n is odd. Source: A. V. Oppenheim, R. W. Schafer, "Discrete-Time Signal
/// Processing", chapter 7 (from memory); tests compare with scipy.signal.butter.
///
/// @param corner  0 < corner < sample_rate / 2
/// @throws InvalidInput  when a bound is broken
[[nodiscard]] Cascade butterworth_low_pass(int order, Hertz corner, Hertz sample_rate);
[[nodiscard]] Cascade butterworth_high_pass(int order, Hertz corner, Hertz sample_rate);

/// Both branches of an interface's crossover, neither of them inverted.
struct Crossover {
  Cascade low;
  Cascade high;
};

/// Linkwitz-Riley filters of 6 n dB/octave are Butterworth filters of order n / 2 twice: both branches -6.02 dB at the
/// crossover. At 24 and 48 dB/octave they are in phase and their sum is flat; at 12 and 36 they are in antiphase, so
/// one branch has to be inverted for that, as with Butterworth 12 dB/octave. Source: S. H. Linkwitz, J. Audio Eng. Soc.
/// 24(1), 2-8 (1976); S. P. Lipshitz, J. Vanderkooy, J. Audio Eng. Soc. 34(11) (1986).
/// @throws InvalidInput  as butterworth_low_pass
[[nodiscard]] Crossover crossover_filters(CrossoverSlope slope, Hertz frequency, Hertz sample_rate);

}  // namespace ringtrue
