#pragma once

namespace ringtrue::penalty {

// What a compromise costs, in percent of the ring's distance. Working values, tuned on rooms of 3 to 8 m: a surround
// speaker at 90 degrees beside a wall comes nearer rather than turning for little, one at 135 in a corner turns.
inline constexpr double per_degree = 1.2;
inline constexpr double per_degree_outside = 3.0;
inline constexpr double leaving_range = 50.0;  // at once, so that no half degree is traded for a few centimetres
inline constexpr double crowded = 100.0;       // two stands in one place

[[nodiscard]] constexpr double outside(double outside_deg) {
  return outside_deg > 0.0 ? leaving_range + per_degree_outside * outside_deg : 0.0;
}

[[nodiscard]] constexpr double shortened(double distance_m, double ring_m) {
  return 100.0 * (ring_m - distance_m) / ring_m;
}

}  // namespace ringtrue::penalty
