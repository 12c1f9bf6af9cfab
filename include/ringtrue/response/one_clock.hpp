#pragma once

#include <atomic>
#include <cstddef>
#include <optional>
#include <span>
#include <vector>

#include "ringtrue/response/clock.hpp"
#include "ringtrue/response/synchronisation.hpp"
#include "ringtrue/response/timeline.hpp"

namespace ringtrue {

/// Tests whether player and recorder ran on one clock and nothing was lost between them, as with one interface they do.
/// Then responses that were taken at the nominal rate serve as they are, and the recording is read only once.
///
/// The two sweeps of every speaker must lie as far apart as they were played: |mean excess| over the longest span
/// within three of its standard uncertainties and 1e-4 frames, and 0.05 frames, so that what is left is small against
/// the noise in the difference of the two.
class OneClock {
 public:
  OneClock(const Stimulus& stimulus, std::span<const SweepPair> pairs, double nominal_rate_hz)
      : stimulus_{stimulus}, pairs_{pairs}, rate_hz_{nominal_rate_hz}, spans_(pairs.size()) {}

  /// True from the first pair on that contradicts, or is too unlike itself to tell: no need to read the others. May be
  /// asked and set by several threads at once; the verdict does not depend on their order.
  [[nodiscard]] bool refuted() const { return refuted_; }

  /// @param first, second  responses of pair i around the places that the nominal rate gives, `clock_window` long
  /// @param all_of_first, all_of_second  longer ones: few modes of a room may carry a subwoofer's band, and only in a
  ///                                     longer time are there enough frequencies to tell them from a hum
  void read(std::size_t i, std::span<const float> first, std::span<const float> second,
            std::span<const float> all_of_first = {}, std::span<const float> all_of_second = {});

  /// The time line; empty unless all pairs were read and agree.
  [[nodiscard]] std::optional<Timeline> timeline() const;

 private:
  const Stimulus& stimulus_;
  std::span<const SweepPair> pairs_;
  double rate_hz_;
  std::vector<std::optional<SpanReading>> spans_;
  std::atomic<bool> refuted_{false};
};

}  // namespace ringtrue
