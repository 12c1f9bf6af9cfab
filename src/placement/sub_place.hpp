#pragma once

#include <optional>
#include <span>

#include "ringtrue/placement/fit.hpp"

namespace ringtrue {

/// A place on the floor for a sub: near its nominal azimuth and the ring's distance, inside its range where it has one,
/// clear of the other floor marks.
///
/// @param paired   whether a mirrored sub must find its place, too
/// @param centre_z_m  height of its acoustic centre over the ear point, usually negative
/// @param marks    the other acoustic centres
/// @returns        distance 0 when the box leaves no place on the floor
[[nodiscard]] FittedSpeaker fit_sub(const RingSpeaker& sub, bool paired, const SpeakerSpace& space, double ring_m,
                                    double centre_z_m, std::span<const Point> marks);

}  // namespace ringtrue
