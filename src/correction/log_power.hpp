#pragma once

#include <span>
#include <vector>

namespace ringtrue {

/// Squared spectrum of a signal, ready for means over bands of log frequency.
///
/// A bin stands for the band half a bin to each side of it; a mean over a band weighs every octave alike, as pink noise
/// does.
class LogPower {
 public:
  /// @param padding  length of the transform over that of the signal, >= 1
  LogPower(std::span<const double> signal, double sample_rate_hz, double padding);

  /// @param low_hz, high_hz  0 < low < high; beyond half the sample rate there is nothing
  [[nodiscard]] double mean(double low_hz, double high_hz) const;

 private:
  [[nodiscard]] double integral_to(double frequency_hz) const;

  double bin_hz_;
  std::vector<double> power_;     // per bin
  std::vector<double> integral_;  // of power d(ln f), up to the lower edge of each bin; bin 0 counts nothing
};

}  // namespace ringtrue
