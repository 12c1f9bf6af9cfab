#include "ringtrue/placement/speaker_space.hpp"

#include <limits>

namespace ringtrue {
namespace {

constexpr double parallel = 1e-9;  // a direction that runs along a surface never meets it; sin(180 degrees) is not 0

struct Axis {
  double component;
  double low;
  double high;
  Surface low_end;
  Surface high_end;
};

void shorten(Reach& reach, const Axis& axis) {
  if (std::abs(axis.component) < parallel) return;
  const bool to_high = axis.component > 0.0;
  const double distance_m = (to_high ? axis.high : axis.low) / axis.component;
  if (distance_m < reach.distance_m) reach = {distance_m, to_high ? axis.high_end : axis.low_end};
}

}  // namespace

const char* name(Surface surface) {
  switch (surface) {
    case Surface::front_wall: return "front wall";
    case Surface::back_wall: return "back wall";
    case Surface::left_wall: return "left wall";
    case Surface::right_wall: return "right wall";
    case Surface::ceiling: return "ceiling";
    case Surface::floor: return "floor";
  }
  return "floor";
}

Reach reach(const SpeakerSpace& space, Direction direction) {
  const Point unit = place(direction, 1.0);
  Reach result{std::numeric_limits<double>::infinity(), Surface::front_wall};
  shorten(result, {unit.x, space.low.x, space.high.x, Surface::left_wall, Surface::right_wall});
  shorten(result, {unit.y, space.low.y, space.high.y, Surface::back_wall, Surface::front_wall});
  shorten(result, {unit.z, space.low.z, space.high.z, Surface::floor, Surface::ceiling});
  return result;
}

}  // namespace ringtrue
