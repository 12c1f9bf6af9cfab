#pragma once

#include <optional>
#include <span>
#include <vector>

#include "common_offset.hpp"
#include "ringtrue/calibration/calibration.hpp"
#include "ringtrue/response/measurement.hpp"

namespace ringtrue {

/// How one speaker's sound at one position differs from what it was then.
struct ThenAndNow {
  double later_ms = 0.0;
  double later_uncertainty_ms = 0.0;
  double louder_db = 0.0;
  double louder_uncertainty_db = 0.0;
  bool inverted = false;
  double likeness = 0.0;
  double worst_third_octave_db = 0.0;
};

/// Compares every speaker that was heard both times; empty for the others.
/// @param active  the old settings were typed in while `now` was recorded
[[nodiscard]] std::vector<std::optional<ThenAndNow>> then_and_now(const Calibration& against,
                                                                  const PositionMeasurement& before,
                                                                  const PositionMeasurement& now, bool active);

/// What two recordings have in common besides the speakers.
struct CommonChange {
  CommonOffset time_ms;
  CommonOffset level_db;
  bool inverted = false;
};
[[nodiscard]] CommonChange common_change(const Rig& rig, std::span<const std::optional<ThenAndNow>> changes,
                                         std::span<const std::size_t> named);

/// Whether the old settings were typed in: which of both leaves the references, and then the named speakers, nearer to
/// what they were.
[[nodiscard]] bool settings_were_active(const Calibration& against, const PositionMeasurement& before,
                                        const PositionMeasurement& now, std::span<const std::size_t> named);

[[nodiscard]] bool contains(std::span<const std::size_t> list, std::size_t value);

}  // namespace ringtrue
