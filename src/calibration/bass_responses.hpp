#pragma once

#include <optional>
#include <span>
#include <vector>

#include "ringtrue/alignment/bass.hpp"
#include "ringtrue/calibration/calibration.hpp"
#include "ringtrue/response/measurement.hpp"

namespace ringtrue {

/// What was measured at low frequencies, on one grid of frequencies for all speakers and positions.
struct BassMeasurement {
  std::vector<double> frequency_hz;  // evenly spaced, ascending
  /// Per speaker of the rig, [mic position][frequency]: no trim, no polarity; the taper at the ends of its sweep is
  /// undone, down to a twentieth. Each arrives at time 0 at the listening position and keeps its true delays at the
  /// others. Empty for speakers that have no settings.
  std::vector<std::optional<BassResponses>> speakers;
};

/// Mic positions count where every speaker that has settings is heard and trusted; the listening position always does.
[[nodiscard]] BassMeasurement measure_bass(const Rig& rig, std::span<const PositionMeasurement> positions,
                                           std::span<const SpeakerResult> speakers);

/// The part of a grid inside [low, high].
struct GridRange {
  std::size_t first = 0;
  std::size_t count = 0;
};
[[nodiscard]] GridRange grid_range(std::span<const double> frequency_hz, Band band);

}  // namespace ringtrue
