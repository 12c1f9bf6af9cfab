#include "ringtrue/placement/nominal.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace ringtrue {
namespace {

/// Azimuth brought within half a turn of the range's middle, so that bounds can be compared.
double azimuth_near(double azimuth_deg, const AngleRange& range) {
  const double middle = 0.5 * (range.az_min_deg + range.az_max_deg);
  return middle + std::remainder(azimuth_deg - middle, 360.0);
}

}  // namespace

std::optional<NominalPlace> nominal_place(const Rig& rig, const Speaker& speaker) {
  if (speaker.kind == SpeakerKind::sub) return std::nullopt;
  if (speaker.nominal) return NominalPlace{*speaker.nominal, std::nullopt};
  const Layout* const layout = find_layout(rig.layout);
  const LayoutChannel* const channel = layout == nullptr ? nullptr : find_channel(*layout, speaker.label);
  if (channel == nullptr || channel->is_lfe) return std::nullopt;
  return NominalPlace{channel->nominal, channel->range};
}

std::vector<std::optional<NominalPlace>> nominal_places(const Rig& rig) {
  std::vector<std::optional<NominalPlace>> places;
  for (const Speaker& speaker : rig.speakers) places.push_back(nominal_place(rig, speaker));
  return places;
}

Direction nearest_allowed(const NominalPlace& nominal, Direction found) {
  if (!nominal.range) return nominal.direction;
  const AngleRange& range = *nominal.range;
  return {std::clamp(azimuth_near(found.azimuth_deg, range), range.az_min_deg, range.az_max_deg),
          std::clamp(found.elevation_deg, range.el_min_deg, range.el_max_deg)};
}

double angle_between_deg(Direction a, Direction b) {
  const double cosine = std::clamp(dot(place(a, 1.0), place(b, 1.0)), -1.0, 1.0);
  return std::acos(cosine) * 180.0 / std::numbers::pi;
}

}  // namespace ringtrue
