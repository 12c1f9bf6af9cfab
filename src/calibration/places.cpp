#include "places.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "ringtrue/core/errors.hpp"
#include "ringtrue/placement/judge_places.hpp"
#include "ringtrue/placement/locate.hpp"
#include "ringtrue/placement/nominal.hpp"

namespace ringtrue {
namespace {

constexpr double distance_worth_saying_m = 0.3;     // less sure than that: no distance is given
constexpr double direction_worth_saying_deg = 8.0;  // and no direction
constexpr double tape_disagrees_m = 0.15;           // beyond what a tape or the air can be off

/// @param chosen  indices of the positions that serve
std::vector<SpotArrivals> arrivals_by_speaker(const Rig& rig, std::span<const PositionMeasurement> positions,
                                              std::span<const std::size_t> chosen) {
  std::vector<SpotArrivals> arrivals(rig.speakers.size(), SpotArrivals(chosen.size()));
  for (std::size_t i = 0; i < chosen.size(); ++i) {
    for (std::size_t s = 0; s < rig.speakers.size(); ++s) {
      const SpeakerMeasurement& measured = positions[chosen[i]].speakers[s];
      const bool serves = rig.speakers[s].kind == SpeakerKind::main && measured.heard && measured.arrival_ms;
      if (serves) arrivals[s][i] = SpotArrival{measured.arrival_ms->value, measured.arrival_ms->uncertainty};
    }
  }
  return arrivals;
}

std::vector<TapedDistance> taped_distances(const Rig& rig, std::span<const KnownDistance> known,
                                           const PositionMeasurement& listening) {
  std::vector<TapedDistance> taped;
  for (const KnownDistance& distance : known) {
    const auto speaker = std::ranges::find(rig.speakers, distance.label, &Speaker::label);
    if (speaker == rig.speakers.end()) {
      throw InvalidInput{"--known-distance", fmt::format("the rig has no speaker \"{}\"", distance.label),
                         "give the label as the rig writes it"};
    }
    if (speaker->kind == SpeakerKind::sub) {
      throw InvalidInput{"--known-distance",
                         fmt::format("\"{}\" is a sub, whose arrival is not sharp enough", distance.label),
                         "give the distance of a main"};
    }
    const auto index = static_cast<std::size_t>(speaker - rig.speakers.begin());
    if (listening.speakers[index].heard && listening.speakers[index].arrival_ms) {
      taped.push_back({index, distance.distance_m});
    }
  }
  return taped;
}

/// What to add to speed x arrival at the listening position, by tape alone; in metres.
std::optional<double> taped_offset_m(std::span<const TapedDistance> taped, const PositionMeasurement& listening,
                                     double speed_m_s) {
  if (taped.empty()) return std::nullopt;
  double sum_m = 0.0;
  for (const TapedDistance& distance : taped) {
    sum_m += distance.distance_m - listening.speakers[distance.speaker].arrival_ms->value * 1e-3 * speed_m_s;
  }
  return sum_m / static_cast<double>(taped.size());
}

void set_place(const Located& located, MeasuredSpeaker& measured) {
  if (located.direction_uncertainty_deg > direction_worth_saying_deg) return;
  FoundPlace& found = measured.found.emplace();
  found.direction = direction_of(located.place);
  found.direction_uncertainty_deg = located.direction_uncertainty_deg;
  if (located.distance_uncertainty_m > distance_worth_saying_m) return;
  found.distance_m = length_m(located.place);
  found.distance_uncertainty_m = located.distance_uncertainty_m;
  measured.position_m = located.place;
}

/// Distances at one mic position, from arrivals and what was found to be missing from them.
void set_distances(double offset_m, double speed_m_s, std::size_t position, Calibration& calibration) {
  for (SpeakerResult& speaker : calibration.speakers) {
    PositionResult& result = speaker.measured.positions[position];
    if (result.arrival_ms) result.distance_m = std::max(0.0, *result.arrival_ms * 1e-3 * speed_m_s + offset_m);
  }
}

/// With a loopback the tape should say the same; what it says more or less is latency of the speakers themselves.
void add_tape_finding(double offset_m, double speed_m_s, Findings& findings) {
  if (std::abs(offset_m) < tape_disagrees_m) return;
  findings.push_back(
      {offset_m > 0.0 ? Severity::warn : Severity::note, "distance-differs", std::nullopt,
       fmt::format("The taped distance is {:.2f} m {} than the sound's way since the loopback, {:.1f} ms. {} All "
                   "distances go by the tape.",
                   std::abs(offset_m), offset_m > 0.0 ? "longer" : "shorter", std::abs(offset_m) / speed_m_s * 1e3,
                   offset_m > 0.0 ? "Sound cannot come early: measure again with the tape, and check its label."
                                  : "Speakers with digital crossovers are that late by themselves.")});
}

/// @param chosen  the positions that the spots of `locations` are
void add_spot_findings(const Locations& locations, std::span<const std::size_t> chosen, Findings& findings) {
  constexpr double far_off_m = 0.04;
  for (std::size_t i = 0; i < locations.spot_error_m.size(); ++i) {
    const Point error = locations.spot_error_m[i];
    if (length_m(error) < far_off_m) continue;
    findings.push_back(
        {Severity::warn, "mic-spot", std::nullopt,
         fmt::format("At mic position {} the microphone seems to have stood {:.0f} cm away from where the "
                     "rig puts it ({}). Places were found without trusting that spot; check the order of "
                     "the recordings and the rig's [[position]] tables.",
                     chosen[i] + 1, 100.0 * length_m(error), movement_words(error))});
  }
}

void set_located_distances(const Locations& locations, std::span<const std::size_t> chosen, Calibration& calibration) {
  for (std::size_t i = 0; i < locations.offset_m.size(); ++i) {
    set_distances(locations.offset_m[i], locations.speed_m_s, chosen[i], calibration);
  }
}

/// True when every main that was heard was located well enough to be judged.
bool all_judged(const Rig& rig, const PositionMeasurement& listening, const Calibration& calibration) {
  for (std::size_t s = 0; s < rig.speakers.size(); ++s) {
    if (rig.speakers[s].kind == SpeakerKind::sub || !listening.speakers[s].heard) continue;
    if (!calibration.speakers[s].measured.found || !nominal_place(rig, rig.speakers[s])) return false;
  }
  return true;
}

}  // namespace

bool set_places(const Rig& rig, std::span<const PositionMeasurement> positions,
                std::span<const std::optional<Point>> stood, std::span<const KnownDistance> known_distances,
                Calibration& calibration) {
  const PositionMeasurement& listening = positions.front();
  const double speed_m_s = speed_of_sound(Celsius{rig.room.temperature_c}).value();
  LocateOptions options;
  options.taped = taped_distances(rig, known_distances, listening);
  options.absolute_time = std::ranges::all_of(positions, &PositionMeasurement::absolute_time);
  options.solve_speed = true;  // where there are spots enough
  if (const auto offset_m = taped_offset_m(options.taped, listening, speed_m_s)) {
    set_distances(*offset_m, speed_m_s, 0, calibration);
    if (listening.absolute_time) add_tape_finding(*offset_m, speed_m_s, calibration.findings);
  }
  if (positions.size() > rig.positions.size()) return false;

  std::vector<std::size_t> chosen;
  std::vector<Point> spots;
  for (std::size_t p = 0; p < positions.size(); ++p) {
    if (!stood[p]) continue;
    chosen.push_back(p);
    spots.push_back(*stood[p]);
  }
  std::vector<std::optional<Direction>> nominal;
  for (const auto& belongs : nominal_places(rig)) {
    nominal.push_back(belongs ? std::optional{belongs->direction} : std::nullopt);
    options.allowed.push_back(belongs ? belongs->range : std::nullopt);
  }
  const Locations locations =
      locate(arrivals_by_speaker(rig, positions, chosen), spots, nominal, MetresPerSecond{speed_m_s}, options);
  if (locations.spot_error_m.empty()) return false;

  calibration.locating = Locating{locations.speed_m_s, locations.speed_solved, locations.spot_uncertainty_m};
  bool distances_known = true;
  for (std::size_t s = 0; s < rig.speakers.size(); ++s) {
    if (!locations.speakers[s]) continue;
    MeasuredSpeaker& measured = calibration.speakers[s].measured;
    set_place(*locations.speakers[s], measured);
    distances_known = distances_known && measured.position_m;
  }
  if (distances_known) set_located_distances(locations, chosen, calibration);
  add_spot_findings(locations, chosen, calibration.findings);
  const Findings findings = judge_places(rig, locations.speakers);
  calibration.findings.insert(calibration.findings.end(), findings.begin(), findings.end());
  return all_judged(rig, listening, calibration);
}

}  // namespace ringtrue
