#include "ringtrue/placement/cables.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

namespace ringtrue {
namespace {

constexpr double rounding_m = 1e-9;
constexpr double near_wall_m = 1.0;  // further than the nearest: a working value

/// A point where a straight way from a spot meets a wall: how far it is, and where on the way round the room, counted
/// clockwise from the front left corner.
struct WallPoint {
  double from_spot_m;
  double around_m;
};

/// At the nearest wall and at those hardly further away: a cable goes into a corner either way, but not across the
/// room.
std::vector<WallPoint> wall_points(const Floor& floor, FloorSpot spot) {
  const double to_right_m = floor.width_m - spot.from_left_m;
  const double to_back_m = floor.length_m - spot.from_front_m;
  std::vector<WallPoint> points{{spot.from_front_m, spot.from_left_m},
                                {to_right_m, floor.width_m + spot.from_front_m},
                                {to_back_m, floor.width_m + floor.length_m + to_right_m},
                                {spot.from_left_m, 2.0 * floor.width_m + floor.length_m + to_back_m}};
  const double nearest_m = std::ranges::min(points, {}, &WallPoint::from_spot_m).from_spot_m;
  std::erase_if(points, [&](const WallPoint& point) { return point.from_spot_m > nearest_m + near_wall_m; });
  return points;
}

}  // namespace

double way_along_walls_m(const Floor& floor, FloorSpot a, FloorSpot b) {
  const double perimeter_m = 2.0 * (floor.length_m + floor.width_m);
  double shortest_m = std::numeric_limits<double>::infinity();
  for (const WallPoint& from : wall_points(floor, a)) {
    for (const WallPoint& to : wall_points(floor, b)) {
      const double one_way_m = std::abs(from.around_m - to.around_m);
      const double around_m = std::min(one_way_m, perimeter_m - one_way_m);
      shortest_m = std::min(shortest_m, from.from_spot_m + around_m + to.from_spot_m);
    }
  }
  return shortest_m;
}

CableRun cable_for(double run_m, std::span<const double> sold) {
  const auto whole = static_cast<std::size_t>(std::max(0.0, std::ceil((run_m - rounding_m) / sold.back()) - 1.0));
  CableRun cable{run_m, std::vector<double>(whole, sold.back())};
  const double left_m = run_m - static_cast<double>(whole) * sold.back();
  cable.pieces_m.push_back(
      *std::ranges::find_if(sold, [&](double length_m) { return length_m + rounding_m >= left_m; }));
  return cable;
}

}  // namespace ringtrue
