#pragma once

#include "image_source.hpp"
#include "ringtrue/capture/virtual_room.hpp"

namespace ringtrue {

inline constexpr double closest_m = 0.05;  // of a microphone to a speaker

/// A place seen from the ear point, in the shoebox's coordinates: from the floor's left back corner.
[[nodiscard]] Point in_shoebox(const VirtualRoom& room, Point from_ear_m);

/// True when a place seen from the ear point is inside the walls, at least 1 mm.
[[nodiscard]] bool is_inside(const VirtualRoom& room, Point from_ear_m);

[[nodiscard]] Shoebox shoebox_of(const VirtualRoom& room);

}  // namespace ringtrue
