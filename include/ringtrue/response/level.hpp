#pragma once

#include <cstddef>
#include <optional>
#include <vector>

#include "ringtrue/core/units.hpp"
#include "ringtrue/response/measurement.hpp"
#include "ringtrue/response/takes.hpp"

namespace ringtrue {

/// Steady-state level of pink noise in a band, from the takes of a response.
///
///     10 lg ( sum (|M|^2 - |N|^2) / f  /  sum 1 / f ),  over the bins of the band
///
/// M is the mean of the takes, N their noise; for two takes |M|^2 - |N|^2 is Re(H1 conj H2): no noise bias. dB re unity
/// gain from output to microphone (both full scale = 1).
struct BandLevel {
  Estimate level_db;
  double signal_to_noise_db = 0.0;  // signal over the noise left in the mean of the takes, same weighting
};

/// The spectra of one stretch of takes, for the levels of any number of bands: two transforms for all of them.
class StretchLevels {
 public:
  /// @param from, to  samples of the takes to use: the direct sound and its decay
  StretchLevels(const Takes& takes, std::size_t from, std::size_t to);

  /// @returns empty when the noise hides the signal (the sum is not positive)
  [[nodiscard]] std::optional<BandLevel> level(Band band) const;
  /// Level of nothing but the noise; empty when there is none.
  [[nodiscard]] std::optional<double> noise_db(Band band) const;

 private:
  template <class Term>
  void over_bins(Band band, const Term& term) const;

  double df_hz_ = 1.0;
  double padding_ = 1.0;  // length of the transform over that of the stretch
  Spectrum mean_;
  Spectrum noise_;
};

/// One band alone.
/// @param from, to  samples of the takes to use: the direct sound and its decay
/// @returns empty when the noise hides the signal (the sum is not positive)
[[nodiscard]] std::optional<BandLevel> pink_band_level(const Takes& takes, Band band, std::size_t from, std::size_t to);

/// How much louder one band of a whole response is than another, noise included, dB; empty when one holds nothing.
[[nodiscard]] std::optional<double> louder_by_db(const ImpulseResponse& response, Band band, Band other);

}  // namespace ringtrue
