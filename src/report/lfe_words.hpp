#pragma once

#include <string>

#include "ringtrue/calibration/calibration.hpp"

namespace ringtrue {

/// What subs of the LFE channel alone are set to, in a sentence or two; empty where the rig has none that was heard.
[[nodiscard]] std::string lfe_only_words(const Calibration& calibration);

}  // namespace ringtrue
