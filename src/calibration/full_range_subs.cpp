#include "full_range_subs.hpp"

#include <fmt/format.h>

#include "ringtrue/response/full_range.hpp"

namespace ringtrue {
namespace {

// Two-way speakers on a sub's output, 30 simulated rooms: -5 to 34 dB, all but one above 2; subs with low-passes of 100
// to 150 Hz, 58 rooms: -35 to -9 dB, and twice -0.3. A sub without low-pass comes between.
constexpr double like_a_main_db = 4.0;
constexpr double doubtful_db = 1.0;

std::optional<double> mean_likeness_db(const Rig& rig, std::span<const PositionMeasurement> positions,
                                       std::size_t sub) {
  double sum = 0.0;
  double count = 0.0;
  for (const PositionMeasurement& position : positions) {
    const auto likeness = likeness_to_mains_db(rig, position, sub);
    sum += likeness.value_or(0.0);
    count += likeness ? 1.0 : 0.0;
  }
  if (count == 0.0) return {};
  return sum / count;
}

}  // namespace

void find_full_range_subs(const Rig& rig, std::span<const PositionMeasurement> positions, Calibration& calibration) {
  for (std::size_t s = 0; s < rig.speakers.size(); ++s) {
    const Speaker& sub = rig.speakers[s];
    if (is_main(sub) || calibration.speakers[s].status != Status::ok) continue;
    const auto likeness_db = mean_likeness_db(rig, positions, s);
    if (!likeness_db || *likeness_db < doubtful_db) continue;
    const bool surely = *likeness_db >= like_a_main_db;
    calibration.findings.push_back(
        {surely ? Severity::warn : Severity::note, "full-range-sub", sub.label,
         fmt::format("{} (output {}) sounds like a main speaker: it lacks a sub's deep bass and low-pass. {}",
                     sub.label, sub.output,
                     surely ? "Its cable may lead to a main: follow it, then measure again."
                            : "A small sub in a dip of the room may do that too: listen to it.")});
  }
}

}  // namespace ringtrue
