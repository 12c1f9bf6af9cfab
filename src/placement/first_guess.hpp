#pragma once

#include <span>

#include "bundle.hpp"

namespace ringtrue::bundle {

/// A start for the least squares: from ranges where time is absolute; otherwise from plane waves, spots' offsets by the
/// mean of all nominal directions (which crossed outputs do not change). Spots are taken to stand where they should.
/// @param problem  its ranges in the order of speakers, at least four spots each, the first spot among them
[[nodiscard]] Eigen::VectorXd first_guess(const Problem& problem);

/// Another start: every speaker in its nominal direction, where it has one.
[[nodiscard]] Eigen::VectorXd nominal_guess(const Problem& problem, const Eigen::VectorXd& first);

}  // namespace ringtrue::bundle
