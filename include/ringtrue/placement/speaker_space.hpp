#pragma once

#include "ringtrue/core/geometry.hpp"

namespace ringtrue {

/// What a room ends at. Front is where the listener looks, left and right are the listener's.
enum class Surface { front_wall, back_wall, left_wall, right_wall, ceiling, floor };

[[nodiscard]] const char* name(Surface surface);  // "front wall"

/// Where an acoustic centre may be: a box around the ear point, in metres from it. Its sides may be infinite.
struct SpeakerSpace {
  Point low;   // no coordinate above 0
  Point high;  // no coordinate below 0
};

struct Reach {
  double distance_m = 0.0;  // from the ear point to the end of the box
  Surface limit = Surface::front_wall;
};

/// How far one can go from the ear point in a direction before the box ends, and which of its sides ends it.
[[nodiscard]] Reach reach(const SpeakerSpace& space, Direction direction);

}  // namespace ringtrue
