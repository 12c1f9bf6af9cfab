#include "places.hpp"

#include <algorithm>

#include "ringtrue/placement/judge_places.hpp"
#include "ringtrue/placement/locate.hpp"
#include "ringtrue/rig/layout.hpp"

namespace ringtrue {
namespace {

constexpr double distance_worth_saying_m = 0.3;  // without a loopback the distance is hardly seen: then none is given

/// @param chosen  indices of the positions that serve
std::vector<SpotArrivals> arrivals_by_speaker(const Rig& rig, std::span<const PositionMeasurement> positions,
                                              std::span<const std::size_t> chosen) {
  std::vector<SpotArrivals> arrivals(rig.speakers.size(), SpotArrivals(chosen.size()));
  for (std::size_t i = 0; i < chosen.size(); ++i) {
    for (std::size_t s = 0; s < rig.speakers.size(); ++s) {
      const SpeakerMeasurement& measured = positions[chosen[i]].speakers[s];
      const bool serves = rig.speakers[s].kind == SpeakerKind::main && measured.heard && measured.arrival_ms;
      if (serves) arrivals[s][i] = measured.arrival_ms->value;
    }
  }
  return arrivals;
}

}  // namespace

bool set_places(const Rig& rig, std::span<const PositionMeasurement> positions, const std::vector<bool>& in_place,
                Calibration& calibration) {
  if (positions.size() > rig.positions.size()) return false;
  std::vector<std::size_t> chosen;
  std::vector<Point> spots;
  for (std::size_t p = 0; p < positions.size(); ++p) {
    if (!in_place[p]) continue;
    chosen.push_back(p);
    spots.push_back(rig.positions[p].offset_m);
  }
  LocateOptions options;
  options.absolute_time =
      std::ranges::all_of(positions, [](const PositionMeasurement& position) { return position.absolute_time; });
  const auto nominal = nominal_directions(rig);
  if (!options.absolute_time && nominal.empty()) return false;
  const auto found = locate(arrivals_by_speaker(rig, positions, chosen), spots, nominal,
                            speed_of_sound(Celsius{rig.room.temperature_c}), options);
  bool all_located = true;
  for (std::size_t s = 0; s < rig.speakers.size(); ++s) {
    const bool is_main = rig.speakers[s].kind == SpeakerKind::main;
    if (is_main && positions.front().speakers[s].heard && !found[s]) all_located = false;
    if (found[s] && found[s]->distance_uncertainty_m <= distance_worth_saying_m) {
      calibration.speakers[s].measured.position_m = found[s]->place;
    }
  }
  const Findings findings = judge_places(rig, found);
  calibration.findings.insert(calibration.findings.end(), findings.begin(), findings.end());
  return all_located && find_layout(rig.layout) != nullptr;
}

}  // namespace ringtrue
