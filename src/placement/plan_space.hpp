#pragma once

#include "ringtrue/placement/plan.hpp"

namespace ringtrue {

/// Nothing but a sub comes nearer to the floor with its acoustic centre: a working value.
inline constexpr double floor_clearance_m = 0.2;

/// Refuses a request that cannot be planned. @throws InvalidInput
void check_request(const PlanRequest& request);

/// Where the listener sits: as requested, or so that the ring has equal room in front and behind. Whole centimetres
/// from the front wall. Empty without a room.
[[nodiscard]] std::optional<FloorSpot> listener_place(const PlanRequest& request);

/// Where acoustic centres may be. @throws InvalidInput  when that leaves no room for a ring
[[nodiscard]] SpeakerSpace speaker_space(const PlanRequest& request, const std::optional<FloorSpot>& listener);

}  // namespace ringtrue
