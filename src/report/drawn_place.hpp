#pragma once

#include <optional>
#include <string>
#include <vector>

#include "ringtrue/calibration/calibration.hpp"
#include "ringtrue/core/geometry.hpp"
#include "ringtrue/placement/nominal.hpp"

namespace ringtrue::drawing {

/// One found loudspeaker as a drawing shows it.
struct DrawnPlace {
  std::string label;
  Point place;  // from the ear point; at the ring's distance where its own is not known
  bool distance_known = false;
  double distance_uncertainty_m = 0.0;  // one standard deviation each
  double across_uncertainty_m = 0.0;
  std::optional<NominalPlace> nominal;
  bool wrong = false;  // a finding says that it stands in the wrong place
};

/// Every speaker whose direction was found, in the rig's order.
[[nodiscard]] std::vector<DrawnPlace> drawn_places(const Calibration& calibration);

/// "level", "above", "below": the class of a place's height.
[[nodiscard]] const char* layer(const DrawnPlace& place);

}  // namespace ringtrue::drawing
