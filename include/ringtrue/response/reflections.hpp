#pragma once

#include <vector>

#include "ringtrue/response/takes.hpp"

namespace ringtrue {

/// A reflection that stands out from what is around it, against the direct sound.
struct Reflection {
  double delay_ms = 0.0;  // after the direct sound
  double level_db = 0.0;  // re the direct sound
};

/// Early reflections of 1 to 8 kHz: peaks of the envelope from 0.6 to 20 ms after the direct sound's, at -20 dB or
/// more, that rise at least 3 dB out of the dips on both sides. At most twelve, the strongest; ascending in time.
///
/// -20 dB: below it nobody hears a single early copy (A. Brunner, H.-J. Maempel, S. Weinzierl, 2007). EBU Tech 3276
/// wants everything from 1 to 8 kHz in the first 15 ms at -10 dB or less. The envelope of the zero-phase band cannot
/// tell copies apart that lie closer than 0.3 ms; nearer than 0.6 ms (a path 0.2 m longer) a reflection hides in the
/// direct sound.
/// @param arrival_index  of the direct sound in the takes
[[nodiscard]] std::vector<Reflection> early_reflections(const Takes& takes, double arrival_index);

}  // namespace ringtrue
