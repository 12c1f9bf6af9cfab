#pragma once

#include <span>

#include "ringtrue/calibration/recheck.hpp"
#include "ringtrue/response/measurement.hpp"

namespace ringtrue {

/// The named speakers keep their filters: those are shared with a partner in part, and a re-check changes as little as
/// it can. Renews what is expected of them (`correction`) from the new responses, and says how well they still fit,
/// judged at the mic positions that were measured both times.
/// @param before  the calibration's responses; `result.positions` has the named speakers' new ones
void renew_corrections(const Calibration& against, std::span<const PositionMeasurement> before,
                       std::span<const std::size_t> named, Recheck& result);

}  // namespace ringtrue
