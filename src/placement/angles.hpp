#pragma once

#include <vector>

#include "ringtrue/placement/ring.hpp"

namespace ringtrue {

/// The allowed range, or nothing but the nominal direction.
[[nodiscard]] AngleRange range_or_nominal(const RingSpeaker& speaker);

/// How many degrees an angle is outside of an interval; 0 inside.
[[nodiscard]] double outside_deg(double angle_deg, double low_deg, double high_deg);

/// Azimuth and elevation together. Azimuths do not wrap: no range in the table crosses the back.
[[nodiscard]] double outside_deg(Direction direction, const AngleRange& range);

/// Angles in [low, high], nearest to nominal first: nominal, one degree up, one down, ..., with the bounds themselves.
[[nodiscard]] std::vector<double> angles_around(double nominal_deg, double low_deg, double high_deg);

}  // namespace ringtrue
