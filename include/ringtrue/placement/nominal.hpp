#pragma once

#include <optional>
#include <vector>

#include "ringtrue/core/geometry.hpp"
#include "ringtrue/rig/layout.hpp"
#include "ringtrue/rig/rig.hpp"

namespace ringtrue {

/// Where a loudspeaker belongs.
struct NominalPlace {
  Direction direction;
  std::optional<AngleRange> range;  // where it may stand; empty: no source gives one, the direction alone counts
};

/// Where a main of the rig belongs: the place its own keys give, else that of its label in the rig's layout.
/// Empty for a sub, and for a label that neither knows.
[[nodiscard]] std::optional<NominalPlace> nominal_place(const Rig& rig, const Speaker& speaker);

/// One entry a speaker of the rig, in its order.
[[nodiscard]] std::vector<std::optional<NominalPlace>> nominal_places(const Rig& rig);

/// The direction inside the range that is nearest; the nominal one where there is no range.
[[nodiscard]] Direction nearest_allowed(const NominalPlace& nominal, Direction found);

/// The angle between two directions, 0 to 180 degrees.
[[nodiscard]] double angle_between_deg(Direction a, Direction b);

}  // namespace ringtrue
