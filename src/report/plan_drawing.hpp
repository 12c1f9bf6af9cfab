#pragma once

#include <string>

#include "ringtrue/placement/plan.hpp"

namespace ringtrue {

/// The ring from above, the front at the top: room, loudspeakers, allowed azimuths, interface. An <svg> element.
[[nodiscard]] std::string draw_from_above(const Plan& plan);

/// The ring from the left, the front on the left: floor, ceiling, heights. An <svg> element.
[[nodiscard]] std::string draw_from_the_side(const Plan& plan);

}  // namespace ringtrue
