#pragma once

#include <cstddef>
#include <vector>

#include "ringtrue/core/finding.hpp"
#include "ringtrue/core/geometry.hpp"
#include "ringtrue/core/units.hpp"
#include "ringtrue/placement/ring.hpp"
#include "ringtrue/placement/speaker_space.hpp"

namespace ringtrue {

/// Nearer than this a loudspeaker's drivers are heard one by one: a working value for small two-way boxes.
inline constexpr double nearest_speaker_m = 0.7;

/// Height of the acoustic centre of a sub on the floor: a working value, half of a box of 0.5 m.
inline constexpr double sub_centre_height_m = 0.25;

/// Floor marks nearer than this to each other do not take two stands: a working value, the foot of a stand.
inline constexpr double stand_room_m = 0.4;

/// Where one loudspeaker of a ring goes.
struct FittedSpeaker {
  Direction direction;
  double distance_m = 0.0;              // of the acoustic centre from the ear point
  Surface limit = Surface::front_wall;  // what stands in the way in its nominal direction
  double room_m = 0.0;                  // how far it could be in its nominal direction
};

struct FittedRing {
  double distance_m = 0.0;              // of the ring; single speakers may be nearer
  std::vector<std::size_t> limited;     // speakers of the ring's plane that the wanted distance does not fit
  std::vector<FittedSpeaker> speakers;  // in the ring's order
};

/// Places a ring in a room that may be too small for it. What gives way, in this order:
///   1. The ring becomes smaller, all speakers at one distance. If n of the N speakers in the ear's plane need that, it
///      becomes smaller by at most the share n / 2N: two of seven do not make the other five come much nearer.
///   2. A speaker that has no place at that distance comes nearer than the others, or turns inside its allowed range,
///      whichever costs less: 10 degrees cost as much as 12 percent of the distance.
///   3. A speaker that has no place in its range at nearest_speaker_m stands outside it, as little as possible.
/// Speakers above and below the ear's plane do not make the ring smaller. A pair stays a mirror image. Subs stand on
/// the floor, about as far away as the ring, clear of the other floor marks. Shortened distances are whole centimetres.
///
/// @param space   where acoustic centres may be; nearest_speaker_m must fit in at least one direction level with the
/// ear
/// @param wanted  > 0
/// @param ear_height  of the ear point above the floor, > 0
[[nodiscard]] FittedRing fit_ring(const Ring& ring, const SpeakerSpace& space, Metres wanted, Metres ear_height);

/// What had to give, in words: `shorter-ring`, `unequal-distance`, `turned-within-range`, `place-out-of-range` (warn
/// for a main), `crowded-floor`.
[[nodiscard]] Findings explain_fit(const Ring& ring, const FittedRing& fitted, Metres wanted);

/// True when the direction is inside the speaker's allowed range, or is its nominal one where there is no range.
[[nodiscard]] bool is_in_range(const RingSpeaker& speaker, Direction direction);

}  // namespace ringtrue
