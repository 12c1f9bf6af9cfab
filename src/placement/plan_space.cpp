#include "plan_space.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>

#include "ringtrue/core/errors.hpp"
#include "ringtrue/placement/fit.hpp"

namespace ringtrue {
namespace {

constexpr double seat_m = 0.8;  // from the ear point to the wall behind, for a chair: a working value

void require_between(const char* where, double value_m, double low_m, double high_m, const char* remedy) {
  if (value_m >= low_m && value_m <= high_m) return;  // false for NaN, too
  throw InvalidInput{where, fmt::format("{} m is not between {} and {} m", value_m, low_m, high_m), remedy};
}

void check_room(const PlanRequest& request) {
  if (!request.room_m) return;
  for (const double side_m : *request.room_m) {
    require_between("room", side_m, 1.0, 100.0, "give length x width x height in metres, e.g. 5.2x4.4x2.6");
  }
  const double ceiling_m = request.room_m->at(2);
  if (request.ear_height_m + request.ceiling_clearance_m <= ceiling_m) return;
  throw InvalidInput{"ear height",
                     fmt::format("ears at {} m leave less than {} m to the ceiling at {} m", request.ear_height_m,
                                 request.ceiling_clearance_m, ceiling_m),
                     "correct it or the room's height, the third number"};
}

void check_spot(const char* where, const PlanRequest& request, const std::optional<FloorSpot>& spot) {
  if (!spot) return;
  if (!request.room_m) {
    throw InvalidInput{where, "its place is measured from walls, but no room is known", "give the room's size, too"};
  }
  const auto [length_m, width_m, height_m] = *request.room_m;
  const bool inside = spot->from_front_m >= 0.0 && spot->from_front_m <= length_m && spot->from_left_m >= 0.0 &&
                      spot->from_left_m <= width_m;
  if (inside) return;
  throw InvalidInput{where,
                     fmt::format("{} m from the front wall, {} m from the left wall is not in a room of {} x {} m",
                                 spot->from_front_m, spot->from_left_m, length_m, width_m),
                     "measure from the front wall first, then from the left one"};
}

/// How many metres the ring needs in front of the listener and behind for each metre of its distance.
struct Stretch {
  double front = 0.0;
  double back = 0.0;
  double side = 0.0;
};

Stretch stretch_of(const Ring& ring) {
  Stretch stretch;
  for (const RingSpeaker& speaker : ring.speakers) {
    if (speaker.kind == SpeakerKind::sub) continue;  // finds its own place
    const Point p = place(speaker.nominal, 1.0);
    stretch.front = std::max(stretch.front, p.y);
    stretch.back = std::max(stretch.back, -p.y);
    stretch.side = std::max(stretch.side, std::abs(p.x));
  }
  return stretch;
}

/// The distance from the front wall that leaves equal spare room in front and behind.
double balanced_from_front_m(const PlanRequest& request) {
  const auto [length_m, width_m, height_m] = *request.room_m;
  const double clearance_m = request.wall_clearance_m;
  const Stretch stretch = stretch_of(request.ring);
  const auto fits = [](double room_m, double per_metre) { return per_metre > 1e-9 ? room_m / per_metre : 1e9; };
  const double ring_m = std::min({request.distance_m, fits(0.5 * width_m - clearance_m, stretch.side),
                                  fits(length_m - 2.0 * clearance_m, stretch.front + stretch.back)});
  const double front_m = ring_m * stretch.front + clearance_m;
  const double back_m = std::max(ring_m * stretch.back + clearance_m, seat_m);
  const double spare_m = length_m - front_m - back_m;  // negative when the chair is what does not fit
  return spare_m >= 0.0 ? front_m + 0.5 * spare_m : std::max(0.5 * length_m, length_m - back_m);
}

[[noreturn]] void refuse_room(const PlanRequest& request, const std::string& what) {
  throw InvalidInput{"room", fmt::format("{} with {} m kept free along the walls", what, request.wall_clearance_m),
                     "correct the room's size, the listener's place or the clearance"};
}

void require_ring_room(const PlanRequest& request, const SpeakerSpace& space) {
  // At 30 degrees, half of the distance is sideways.
  const double side_m = std::min(-space.low.x, space.high.x);
  if (side_m < 0.5 * nearest_speaker_m) {
    refuse_room(request, fmt::format("only {:.2f} m are left beside the listener", std::max(0.0, side_m)));
  }
  const double along_m = std::max(-space.low.y, space.high.y);
  if (std::min(-space.low.y, space.high.y) < 0.0 || along_m < nearest_speaker_m) {
    refuse_room(request, fmt::format("no ring of {} m has a place around the listener", nearest_speaker_m));
  }
}

}  // namespace

void check_request(const PlanRequest& request) {
  if (request.ring.speakers.empty()) throw InvalidInput{"plan", "there is no speaker", "name a layout or speakers"};
  require_between("distance", request.distance_m, nearest_speaker_m, 50.0,
                  "give the metres from the ear to the speakers, e.g. 2.0");
  require_between("ear height", request.ear_height_m, floor_clearance_m, 20.0,
                  "give the height of the listener's ears above the floor in metres, e.g. 1.2");
  require_between("clearance", request.wall_clearance_m, 0.0, 5.0, "give metres from the walls, e.g. 0.4");
  require_between("ceiling clearance", request.ceiling_clearance_m, 0.0, 5.0, "give metres, e.g. 0.3");
  check_room(request);
  check_spot("listener", request, request.listener);
  check_spot("interface", request, request.interface);
}

std::optional<FloorSpot> listener_place(const PlanRequest& request) {
  if (!request.room_m || request.listener) return request.listener;
  const double from_front_m = std::round(balanced_from_front_m(request) * 100.0) / 100.0;
  return FloorSpot{from_front_m, 0.5 * request.room_m->at(1)};
}

SpeakerSpace speaker_space(const PlanRequest& request, const std::optional<FloorSpot>& listener) {
  constexpr double far = std::numeric_limits<double>::infinity();
  const double floor_z_m = std::min(0.0, floor_clearance_m - request.ear_height_m);
  if (!listener) return {{-far, -far, floor_z_m}, {far, far, far}};
  const auto [length_m, width_m, height_m] = *request.room_m;
  const double c = request.wall_clearance_m;
  const SpeakerSpace space{{c - listener->from_left_m, c - (length_m - listener->from_front_m), floor_z_m},
                           {width_m - listener->from_left_m - c, listener->from_front_m - c,
                            height_m - request.ear_height_m - request.ceiling_clearance_m}};
  require_ring_room(request, space);
  return space;
}

}  // namespace ringtrue
