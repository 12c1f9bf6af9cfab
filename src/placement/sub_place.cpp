#include "sub_place.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include "angles.hpp"
#include "penalties.hpp"

namespace ringtrue {
namespace {

constexpr double step_m = 0.05;
constexpr double furthest = 1.25;  // of the ring: a sub that is later than all others delays them all

/// Outside the ring, nearer to a wall, is half as bad as inside, where people walk.
/// Both are measured along the floor: a sub far below the ear would else stand at the listener's feet.
double off_ring(double distance_m, double ring_m) {
  const double shortened = penalty::shortened(distance_m, ring_m);
  return shortened >= 0.0 ? shortened : -0.5 * shortened;
}

double floor_gap_m(Point a, Point b) { return std::hypot(a.x - b.x, a.y - b.y); }

Point mirrored(Point p) { return {-p.x, p.y, p.z}; }

bool is_inside(const SpeakerSpace& space, Point p) {
  return p.x >= space.low.x && p.x <= space.high.x && p.y >= space.low.y && p.y <= space.high.y;
}

double crowding(Point p, std::span<const Point> marks) {
  double nearest_m = std::numeric_limits<double>::infinity();
  for (const Point& mark : marks) nearest_m = std::min(nearest_m, floor_gap_m(p, mark));
  return penalty::crowded * std::max(0.0, 1.0 - nearest_m / stand_room_m);
}

double cost(const RingSpeaker& sub, Direction direction, double along_floor_m, double ring_m) {
  return penalty::per_degree * std::abs(direction.azimuth_deg - sub.nominal.azimuth_deg) +
         penalty::outside(outside_deg(direction, range_or_nominal(sub))) + off_ring(along_floor_m, ring_m);
}

/// The range for azimuth alone where the user gave a direction: the floor decides the elevation.
RingSpeaker on_floor(RingSpeaker sub) {
  const double azimuth_deg = sub.nominal.azimuth_deg;
  if (!sub.range) sub.range = AngleRange{azimuth_deg, azimuth_deg, -90.0, 90.0};
  return sub;
}

}  // namespace

FittedSpeaker fit_sub(const RingSpeaker& wanted, bool paired, const SpeakerSpace& space, double ring_m,
                      double centre_z_m, std::span<const Point> marks) {
  const RingSpeaker sub = on_floor(wanted);
  FittedSpeaker best;
  double best_cost = std::numeric_limits<double>::infinity();
  for (const double azimuth_deg : angles_around(sub.nominal.azimuth_deg, paired ? 0.0 : -180.0, 180.0)) {
    if (penalty::per_degree * std::abs(azimuth_deg - sub.nominal.azimuth_deg) > best_cost) break;
    for (int step = 0; furthest * ring_m - step * step_m >= nearest_speaker_m; ++step) {
      const double along_floor_m = furthest * ring_m - step * step_m;
      Point p = place({azimuth_deg, 0.0}, along_floor_m);
      p.z = centre_z_m;
      if (!is_inside(space, p) || (paired && !is_inside(space, mirrored(p)))) continue;
      const Direction direction{azimuth_deg, direction_of(p).elevation_deg};
      const double crowd = crowding(p, marks) + (paired ? crowding(mirrored(p), marks) : 0.0);
      const double total = cost(sub, direction, along_floor_m, ring_m) + crowd;
      if (total < best_cost) {
        best_cost = total;
        best = {direction, length_m(p), Surface::floor, length_m(p)};
      }
    }
  }
  return best;
}

}  // namespace ringtrue
