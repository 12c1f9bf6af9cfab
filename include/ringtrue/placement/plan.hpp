#pragma once

#include <array>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "ringtrue/core/finding.hpp"
#include "ringtrue/core/geometry.hpp"
#include "ringtrue/placement/cables.hpp"
#include "ringtrue/placement/ring.hpp"
#include "ringtrue/placement/speaker_space.hpp"
#include "ringtrue/rig/rig.hpp"

namespace ringtrue {

/// What is to be planned. Metres.
struct PlanRequest {
  Ring ring;
  std::string name;                             // of the rig
  std::optional<std::array<double, 3>> room_m;  // length (front to back), width, height; each 1 to 100
  double ear_height_m = 1.2;                    // 0.2 to 20, below the ceiling
  double distance_m = 2.0;                      // wanted, from the ear point to the acoustic centres; 0.7 to 50
  std::optional<FloorSpot> listener;            // default: in the middle of the width, the ring in the room's middle
  std::optional<FloorSpot> interface;           // default: at the front wall, straight ahead of the listener
  double wall_clearance_m = 0.4;                // acoustic centre to wall: a box of 0.3 m and its plugs; 0 to 5
  double ceiling_clearance_m = 0.3;             // acoustic centre to ceiling; 0 to 5
};

struct WallDistance {
  Surface wall = Surface::front_wall;
  double distance_m = 0.0;
};

/// A mark on the floor, from the nearer wall of each kind.
struct FloorMark {
  WallDistance lengthways;  // from the front or the back wall
  WallDistance sideways;    // from the left or the right wall
};

/// How a loudspeaker is held up.
enum class Mounting {
  stand,       // about ear height
  tall_stand,  // above the ear
  hung,        // above the listener, where no stand can be
  low_stand,   // below the ear
  on_floor,    // a sub
};

[[nodiscard]] const char* name(Mounting mounting);  // "tall stand"

struct Neighbour {
  std::size_t speaker = 0;  // index into Plan::speakers
  double distance_m = 0.0;  // from acoustic centre to acoustic centre
};

struct PlannedSpeaker {
  RingSpeaker speaker;
  Point place_m;                      // of the acoustic centre, from the ear point
  Direction direction;                // of that place
  double distance_m = 0.0;            // from the ear point
  double height_m = 0.0;              // of the acoustic centre above the floor
  double tilt_down_deg = 0.0;         // that aims it at the ear; negative: tilt up
  std::optional<FloorMark> mark;      // only with a room
  std::vector<Neighbour> neighbours;  // the two nearest speakers, for the tape; mains before subs
  Mounting mounting = Mounting::stand;
  CableRun cable;
  std::optional<CableRun> mains_lead;  // of speakers above the ear
};

/// Everything a person needs to put up a ring, and what had to give.
struct Plan {
  PlanRequest request;
  double distance_m = 0.0;            // of the ring
  std::optional<FloorSpot> listener;  // the ear point; only with a room
  std::optional<FloorMark> listener_mark;
  std::optional<FloorSpot> interface;    // only with a room
  std::vector<PlannedSpeaker> speakers;  // in the order of outputs
  CableRun microphone_cable;
  std::vector<Point> microphone_m;  // mic positions from the ear point, the listening position first
  Findings findings;                // fit.hpp
};

/// Plans a ring: places, marks, cables.
/// @throws InvalidInput  for an empty ring, numbers outside what PlanRequest says, a listener or an interface outside
///                       the room, and a room too small for any ring
[[nodiscard]] Plan make_plan(const PlanRequest& request);

/// The rig of a plan, for `calibrate`; the interface's values are the defaults.
[[nodiscard]] Rig rig_of(const Plan& plan);

/// Where an acoustic centre would hang above the floor by the common rule for overheads: twice the ear's height.
[[nodiscard]] constexpr double customary_overhead_height_m(double ear_height_m) { return 2.0 * ear_height_m; }

/// How many cables of each length to buy, the shortest first.
using CableCount = std::vector<std::pair<double, int>>;

[[nodiscard]] CableCount count_cables(const Plan& plan);       // speakers and microphone
[[nodiscard]] CableCount count_mains_leads(const Plan& plan);  // of the speakers above the ear

}  // namespace ringtrue
