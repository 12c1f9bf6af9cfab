#pragma once

#include <span>

namespace ringtrue {

/// One speaker's departure from what was expected, before what all have in common is taken out.
struct Departure {
  double value = 0.0;
  double uncertainty = 0.0;
  bool reference = true;  // false: it does not say what is common
};

struct CommonOffset {
  double value = 0.0;
  double spread = 0.0;  // of those that agree: 1.48 times the median of their departures from it
  int agreeing = 0;
};

/// What most of the references have in common: the weighted mean of the largest group that lies within `limit` of one
/// of them; of equal groups, the one nearest to the median of all. A few that are far off do not move it.
[[nodiscard]] CommonOffset common_offset(std::span<const Departure> departures, double limit);

}  // namespace ringtrue
