#pragma once

#include <cstddef>
#include <optional>

#include "ringtrue/response/measurement.hpp"
#include "ringtrue/rig/rig.hpp"

namespace ringtrue {

/// How much louder the upper end of a sub's band is than its lowest half octave, against how much louder the mains are
/// there than from 70 to 125 Hz, dB: what the room does to all of them is taken out. A sub has a low-pass and deep
/// bass, a main speaker on the sub's output neither.
/// @param sub  index in the rig
/// @returns  empty where it is not heard well, its band is too narrow to tell, or fewer than three mains are heard
[[nodiscard]] std::optional<double> likeness_to_mains_db(const Rig& rig, const PositionMeasurement& measurement,
                                                         std::size_t sub);

}  // namespace ringtrue
