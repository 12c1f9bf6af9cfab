#include "ringtrue/response/full_range.hpp"

#include <algorithm>

#include "heard_well.hpp"
#include "ringtrue/core/statistics.hpp"
#include "ringtrue/response/deconvolution.hpp"
#include "ringtrue/response/level.hpp"

namespace ringtrue {
namespace {

constexpr std::size_t fewest_mains = 3;

Band upper_end_of(Band flat) { return {Hertz{flat.high.value() / 1.25}, flat.high}; }

/// How the mains lie there against their own bass: the median.
std::optional<double> usual_rise_db(const Rig& rig, const PositionMeasurement& measurement, Band upper) {
  const Band bass{Hertz{70.0}, Hertz{125.0}};
  std::vector<double> rises_db;
  for (std::size_t s = 0; s < rig.speakers.size(); ++s) {
    const SpeakerMeasurement& main = measurement.speakers[s];
    const Band driven = rig.speakers[s].band;
    if (!is_main(rig.speakers[s]) || !main.heard || main.bass_only) continue;
    if (driven.low > bass.low || driven.high.value() < 2.0 * upper.high.value()) continue;
    if (const auto rise_db = louder_by_db(main.response, upper, bass)) rises_db.push_back(*rise_db);
  }
  if (rises_db.size() < fewest_mains) return {};
  return median(std::move(rises_db));
}

}  // namespace

std::optional<double> likeness_to_mains_db(const Rig& rig, const PositionMeasurement& measurement, std::size_t sub) {
  constexpr double widest_hz = 240.0;
  constexpr double narrowest_hz = 140.0;
  constexpr double deep_hz = 40.0;
  const SpeakerMeasurement& measured = measurement.speakers[sub];
  if (!is_heard_well(measured)) return {};
  Band flat = flat_band(rig.speakers[sub].band);
  flat.high = std::min(flat.high, Hertz{widest_hz});
  if (flat.high.value() < narrowest_hz || flat.low.value() > deep_hz) return {};
  const auto own_db = louder_by_db(measured.response, upper_end_of(flat), {flat.low, Hertz{1.4 * flat.low.value()}});
  const auto usual_db = usual_rise_db(rig, measurement, upper_end_of(flat));
  if (!own_db || !usual_db) return {};
  return *own_db - *usual_db;
}

}  // namespace ringtrue
