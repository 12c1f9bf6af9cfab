#include "drawn_place.hpp"

#include <algorithm>
#include <numbers>

#include "ringtrue/core/statistics.hpp"

namespace ringtrue::drawing {
namespace {

constexpr double usual_distance_m = 2.0;  // of a ring of which no distance is known

bool stands_wrong(const Calibration& calibration, const std::string& label) {
  return std::ranges::any_of(calibration.findings, [&](const Finding& finding) {
    return finding.speaker == label && (finding.code == "swapped-outputs" || finding.code == "wrong-place");
  });
}

double median_distance_m(const Calibration& calibration) {
  std::vector<double> distances;
  for (const SpeakerResult& speaker : calibration.speakers) {
    const auto& found = speaker.measured.found;
    if (found && found->distance_m) distances.push_back(*found->distance_m);
  }
  return distances.empty() ? usual_distance_m : median(std::move(distances));
}

}  // namespace

std::vector<DrawnPlace> drawn_places(const Calibration& calibration) {
  const double ring_m = median_distance_m(calibration);
  std::vector<DrawnPlace> places;
  for (std::size_t s = 0; s < calibration.speakers.size(); ++s) {
    const SpeakerResult& speaker = calibration.speakers[s];
    const auto& found = speaker.measured.found;
    if (!found) continue;
    const double distance_m = found->distance_m.value_or(ring_m);
    places.push_back({.label = speaker.label,
                      .place = place(found->direction, distance_m),
                      .distance_known = found->distance_m.has_value(),
                      .distance_uncertainty_m = found->distance_uncertainty_m.value_or(0.0),
                      .across_uncertainty_m = found->direction_uncertainty_deg * std::numbers::pi / 180.0 * distance_m,
                      .nominal = nominal_place(calibration.rig, calibration.rig.speakers[s]),
                      .wrong = stands_wrong(calibration, speaker.label)});
  }
  return places;
}

const char* layer(const DrawnPlace& drawn) {
  constexpr double level_deg = 10.0;
  const double elevation_deg = direction_of(drawn.place).elevation_deg;
  return elevation_deg > level_deg ? "above" : elevation_deg < -level_deg ? "below" : "level";
}

}  // namespace ringtrue::drawing
