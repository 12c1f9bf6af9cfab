#pragma once

#include <optional>
#include <span>

#include "ringtrue/core/units.hpp"
#include "ringtrue/response/takes.hpp"

namespace ringtrue {

/// A reverberation time, and how far to trust it.
struct DecayTime {
  double seconds = 0.0;
  double range_db = 0.0;                    // evaluated: 30 (T30) or 20 (T20)
  std::optional<double> curvature_percent;  // 100 (T30 / T20 - 1); with T30 only
};

/// Reverberation time from the energy of a response: T30 where the range allows it, else T20, else none.
///
/// Backward integration (M. R. Schroeder, J. Acoust. Soc. Am. 37, 1965) with the noise power subtracted (W. T. Chu,
/// J. Acoust. Soc. Am. 63, 1978), stopped where the late decay meets the noise, the missing tail added (A. Lundeby,
/// T. E. Vigran, H. Bietz, M. Vorlaender, Acustica 81, 1995); least squares over -5 to -35 dB (T30) or -5 to -25 dB
/// (T20). ISO 3382-1 wants 45 and 35 dB between peak and noise. Where the response ends before its decay does, what is
/// missing must lie 40 or 30 dB below the whole.
///
/// ISO 3382-2 calls a curvature above 10 % or below 0 suspect: then the decay is not one exponential, and no single
/// number describes it. Octaves at a single place pass 10 % now and then (docs/measured-rooms.md); coupled rooms go
/// far beyond.
///
/// @param squared      squared samples of the band-filtered response, from the direct sound on
/// @param noise_power  mean square of the noise where it is known, same filter; where the response itself runs into
///                     more noise than that, that counts
/// @param sample_rate  of `squared`
/// @returns empty when the range is too small or the curve does not fall
[[nodiscard]] std::optional<DecayTime> reverberation_time(std::span<const double> squared, double noise_power,
                                                          Hertz sample_rate);

/// All decay times of one response; each only where its own range allows it.
struct DecayTimes {
  std::optional<double> early_s;  // EDT: 0 to -10 dB
  std::optional<double> t20_s;    // -5 to -25 dB
  std::optional<double> t30_s;    // -5 to -35 dB
  double range_db = 0.0;          // from the loudest block down to the noise
};

/// As `reverberation_time`, with the early decay time (ISO 3382-1: least squares over 0 to -10 dB, times 60 dB), which
/// wants 20 dB between peak and noise: its lower end 10 dB above the noise, as the others'.
/// @param block  levels are looked at over this long: several times the inverse of the band's width
/// @returns empty when there is no decay to be seen
[[nodiscard]] std::optional<DecayTimes> decay_times(std::span<const double> squared, double noise_power,
                                                    Hertz sample_rate, Seconds block = Seconds{0.01});
[[nodiscard]] std::optional<DecayTimes> decay_times(std::span<const float> squared, double noise_power,
                                                    Hertz sample_rate, Seconds block = Seconds{0.01});

/// The seconds of `reverberation_time`.
[[nodiscard]] std::optional<double> reverberation_time_s(std::span<const double> squared, double noise_power,
                                                         Hertz sample_rate);

/// Reverberation time of the 500 Hz and 1 kHz octaves together (354-1414 Hz).
[[nodiscard]] std::optional<DecayTime> mid_decay_time(const Takes& takes, const TakeSpectra& spectra,
                                                      double arrival_index, Band band);
/// The seconds of `mid_decay_time`.
[[nodiscard]] std::optional<double> mid_decay_time_s(const Takes& takes, const TakeSpectra& spectra,
                                                     double arrival_index, Band band);

}  // namespace ringtrue
