#pragma once

#include <cstddef>

#include "ringtrue/rig/rig.hpp"

namespace ringtrue {

/// How much a main counts where one setting has to serve all of them: 1.5 for the front stage (within 60 degrees of the
/// front, ear level), 0.75 for heights and bottom speakers (20 degrees and more above or below), 1 for all others and
/// for labels that no layout knows. By nominal direction; the numbers are a judgement: most programme has its bass in
/// front, and no speaker may be forgotten.
[[nodiscard]] double importance_of(const Rig& rig, std::size_t speaker);

}  // namespace ringtrue
