#pragma once

#include "ringtrue/response/measurement.hpp"

namespace ringtrue {

/// Subs whose output plays a main as well: `shared-output`, and they are no longer `trusted`. In the uppermost fifth of
/// its band a sub plays little, so that there its output's response is the main's own, decay included.
/// Responses must still lie on one time line.
void find_shared_bass(const Rig& rig, PositionMeasurement& measurement, unsigned threads);

/// `speaker`'s output plays `other` as well.
[[nodiscard]] Finding shared_output(const Speaker& speaker, const Speaker& other);

}  // namespace ringtrue
