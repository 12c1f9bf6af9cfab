#include "recheck_references.hpp"

#include <algorithm>
#include <cmath>

#include "ringtrue/calibration/response_comparison.hpp"

namespace ringtrue {
namespace {

constexpr double agree_ms = 0.02;
constexpr double agree_db = 0.15;

double worst_third_octave(const ResponseDifference& difference) {
  constexpr std::size_t third = 4;
  double worst = 0.0;
  for (std::size_t b = 0; b + third <= difference.bands.size(); ++b) {
    double sum = 0.0;
    double unsure = 0.0;
    for (std::size_t i = b; i < b + third; ++i) {
      sum += difference.bands[i].level_db - difference.louder_db;
      unsure += difference.bands[i].uncertainty_db;
    }
    const double beyond = std::max(0.0, std::abs(sum) - 2.0 * unsure) / third;
    if (beyond > std::abs(worst)) worst = std::copysign(beyond, sum);
  }
  return worst;
}

/// How badly a guess about the settings fits: references against what they have in common, the named ones against how
/// far things are usually moved (1.5 ms are half a metre).
double misfit(const Calibration& against, const PositionMeasurement& before, const PositionMeasurement& now,
              std::span<const std::size_t> named, bool active) {
  const auto changes = then_and_now(against, before, now, active);
  const CommonChange common = common_change(against.rig, changes, named);
  double sum = 0.0;
  for (std::size_t s = 0; s < changes.size(); ++s) {
    if (!changes[s]) continue;
    const double late = std::abs(changes[s]->later_ms - common.time_ms.value);
    const double loud = std::abs(changes[s]->louder_db - common.level_db.value);
    const double coloured = std::abs(changes[s]->worst_third_octave_db);
    if (contains(named, s)) {
      sum += 0.5 * std::min(3.0, late / 1.5) + 0.5 * std::min(3.0, loud / 3.0);
    } else {
      sum += std::min(10.0, late / 0.05) + std::min(10.0, loud / 0.3) + std::min(5.0, coloured / 1.0);
    }
  }
  return sum;
}

}  // namespace

bool contains(std::span<const std::size_t> list, std::size_t value) {
  return std::ranges::find(list, value) != list.end();
}

std::vector<std::optional<ThenAndNow>> then_and_now(const Calibration& against, const PositionMeasurement& before,
                                                    const PositionMeasurement& now, bool active) {
  std::vector<std::optional<ThenAndNow>> changes(against.speakers.size());
  for (std::size_t s = 0; s < changes.size(); ++s) {
    const auto then = at_arrival(before.speakers[s]);
    const auto heard = at_arrival(now.speakers[s]);
    if (!then || !heard || !has_settings(against.speakers[s])) continue;
    const Speaker& speaker = against.rig.speakers[s];
    const ResponseDifference difference =
        active ? compare_responses(
                     through_settings(*then, against.speakers[s].settings, against.rig.interface.sample_rate_hz),
                     *heard, speaker.kind, speaker.band)
               : compare_responses(*then, *heard, speaker.kind, speaker.band);
    changes[s] = ThenAndNow{difference.later_ms,           difference.later_uncertainty_ms,
                            difference.louder_db,          difference.louder_uncertainty_db,
                            difference.inverted,           difference.likeness,
                            worst_third_octave(difference)};
  }
  return changes;
}

CommonChange common_change(const Rig& rig, std::span<const std::optional<ThenAndNow>> changes,
                           std::span<const std::size_t> named) {
  std::vector<Departure> times;
  std::vector<Departure> levels;
  int mains = 0;
  int inverted = 0;
  int right = 0;
  const auto is_reference = [&](std::size_t s) { return changes[s] && !contains(named, s); };
  for (std::size_t s = 0; s < changes.size(); ++s) {
    mains += is_reference(s) && rig.speakers[s].kind == SpeakerKind::main ? 1 : 0;
  }
  for (std::size_t s = 0; s < changes.size(); ++s) {
    if (!is_reference(s) || (mains > 0 && rig.speakers[s].kind == SpeakerKind::sub)) continue;
    times.push_back({changes[s]->later_ms, changes[s]->later_uncertainty_ms, true});
    levels.push_back({changes[s]->louder_db, changes[s]->louder_uncertainty_db, true});
    (changes[s]->inverted ? inverted : right) += 1;
  }
  return {common_offset(times, agree_ms), common_offset(levels, agree_db), inverted > right};
}

bool settings_were_active(const Calibration& against, const PositionMeasurement& before, const PositionMeasurement& now,
                          std::span<const std::size_t> named) {
  constexpr double surely = 0.1;  // as measured for the calibration, unless the other guess is better
  return misfit(against, before, now, named, true) + surely < misfit(against, before, now, named, false);
}

}  // namespace ringtrue
