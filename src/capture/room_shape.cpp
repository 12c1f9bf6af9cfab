#include "room_shape.hpp"

#include "ringtrue/core/units.hpp"

namespace ringtrue {

Point in_shoebox(const VirtualRoom& room, Point from_ear_m) {
  const Point from_floor_middle = room.ear_m + from_ear_m;
  return from_floor_middle + Point{0.5 * room.size_m[1], 0.5 * room.size_m[0], 0.0};
}

bool is_inside(const VirtualRoom& room, Point from_ear_m) {
  constexpr double margin_m = 0.001;
  const Point place = in_shoebox(room, from_ear_m);
  const auto between = [](double x, double size) { return x >= margin_m && x <= size - margin_m; };
  return between(place.x, room.size_m[1]) && between(place.y, room.size_m[0]) && between(place.z, room.size_m[2]);
}

Shoebox shoebox_of(const VirtualRoom& room) {
  const auto& [left, right, front, back, floor, ceiling] = room.absorption;
  return {Point{room.size_m[1], room.size_m[0], room.size_m[2]},
          {left, right, back, front, floor, ceiling},
          speed_of_sound(Celsius{room.temperature_c}).value()};
}

}  // namespace ringtrue
