#pragma once

#include <cstddef>
#include <optional>
#include <span>
#include <vector>

#include "ringtrue/response/measurement.hpp"

namespace ringtrue {

/// How far the two sweeps of one speaker lie apart in a recording, against the schedule.
struct SpanReading {
  std::size_t first = 0;   // index of the earlier sweep on the time line
  std::size_t second = 0;  // index of the later one
  double span_s = 0.0;     // scheduled
  double excess = 0.0;     // frames found minus frames scheduled at the nominal rate
  double uncertainty = 0.0;
};

/// Frames that a recording lost (negative) or gained (positive) at one instant.
struct TimelineStep {
  double frames = 0.0;
  std::size_t after = 0;  // the step lies after the start of this sweep ...
  bool inside = false;    // ... inside it (that take is spoilt), or in the silence behind it
};

/// The recorder's clock and what it lost, from the spans.
struct Timeline {
  Estimate clock_ppm;
  std::vector<TimelineStep> steps;  // in order of time, at most two
  double misfit = 0.0;              // largest |residual| of the spans that were used, frames

  /// Frames by which a sweep comes later than the clock alone says.
  [[nodiscard]] double shift_of(std::size_t sweep) const;
};

/// Explains the spans by one clock rate and as few steps as possible.
///
/// excess = ppm 1e-6 rate span + sum of the steps between the two sweeps. Every place of one step (then of two) is
/// tried, with weighted least squares; a step is believed when it brings the misfit from above half a frame to a
/// tenth of what it was, or below half a frame. From three speakers on every place has its own pattern (playing_order
/// in stimulus.cpp); with two, drift and loss cannot be told apart and the clock alone is fitted.
[[nodiscard]] Timeline solve_timeline(std::span<const SpanReading> spans, std::size_t sweeps, double nominal_rate_hz);

}  // namespace ringtrue
