#pragma once

#include <cmath>
#include <numbers>

namespace ringtrue {

/// A place in metres: origin at the listener's ear point, x right, y front, z up.
struct Point {
  double x = 0.0;
  double y = 0.0;
  double z = 0.0;
  friend constexpr bool operator==(const Point&, const Point&) = default;
  friend constexpr Point operator+(Point a, Point b) { return {a.x + b.x, a.y + b.y, a.z + b.z}; }
  friend constexpr Point operator-(Point a, Point b) { return {a.x - b.x, a.y - b.y, a.z - b.z}; }
  friend constexpr Point operator*(double k, Point p) { return {k * p.x, k * p.y, k * p.z}; }
};

[[nodiscard]] constexpr double dot(Point a, Point b) { return a.x * b.x + a.y * b.y + a.z * b.z; }
[[nodiscard]] inline double length_m(Point p) { return std::sqrt(dot(p, p)); }
[[nodiscard]] inline double distance_m(Point a, Point b) { return length_m(a - b); }

/// Azimuth from the front, positive to the LEFT; elevation positive UP (ITU-R BS.2051), degrees.
struct Direction {
  double azimuth_deg = 0.0;
  double elevation_deg = 0.0;
  friend constexpr bool operator==(const Direction&, const Direction&) = default;
};

[[nodiscard]] inline Point place(Direction direction, double radius_m) {
  const double azimuth = direction.azimuth_deg * std::numbers::pi / 180.0;
  const double elevation = direction.elevation_deg * std::numbers::pi / 180.0;
  return {-radius_m * std::sin(azimuth) * std::cos(elevation), radius_m * std::cos(azimuth) * std::cos(elevation),
          radius_m * std::sin(elevation)};
}

/// Direction of a place seen from the ear point; azimuth in (-180, 180]; {0, 0} for the ear point itself.
[[nodiscard]] inline Direction direction_of(Point p) {
  const double in_plane = std::hypot(p.x, p.y);
  if (in_plane == 0.0 && p.z == 0.0) return {};
  return {std::atan2(-p.x, p.y) * 180.0 / std::numbers::pi, std::atan2(p.z, in_plane) * 180.0 / std::numbers::pi};
}

}  // namespace ringtrue
