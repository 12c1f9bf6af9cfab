#include "spots.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <optional>

#include "ringtrue/core/statistics.hpp"
#include "spot_places.hpp"

namespace ringtrue {
namespace {

constexpr std::size_t fewest_mains = 3;

bool serves(const Rig& rig, const PositionMeasurement& position, std::size_t s) {
  return rig.speakers[s].kind == SpeakerKind::main && position.speakers[s].heard && position.speakers[s].trusted;
}

/// How much louder each main is at position p than at the first, level in the room, dB; empty where it does not serve.
std::vector<std::optional<double>> level_changes(const Rig& rig, std::span<const PositionMeasurement> positions,
                                                 std::size_t p) {
  std::vector<std::optional<double>> changes(rig.speakers.size());
  for (std::size_t s = 0; s < rig.speakers.size(); ++s) {
    if (!serves(rig, positions.front(), s) || !serves(rig, positions[p], s)) continue;
    const auto& first = positions.front().speakers[s].level_db;
    const auto& here = positions[p].speakers[s].level_db;
    if (first && here) changes[s] = here->value - first->value;
  }
  return changes;
}

/// How much louder each main's direct sound is at position p than at the first, beyond what the way from its nominal
/// place explains (1/r), dB; empty where it does not serve. Unlike the level in the room, which a step changes by
/// several dB, direct sound follows the distance.
std::vector<std::optional<double>> direct_changes(const Rig& rig, std::span<const PositionMeasurement> positions,
                                                  std::size_t p) {
  std::vector<std::optional<double>> changes(rig.speakers.size());
  for (std::size_t s = 0; s < rig.speakers.size(); ++s) {
    if (!serves(rig, positions.front(), s) || !serves(rig, positions[p], s)) continue;
    double expected_db = 0.0;
    if (const auto stands = nominal_place(rig, positions.front(), s)) {
      const double first_m = std::max(0.1, length_m(*stands - rig.positions.front().offset_m));
      const double here_m = std::max(0.1, length_m(*stands - rig.positions[p].offset_m));
      expected_db = 20.0 * std::log10(first_m / here_m);
    }
    changes[s] = positions[p].speakers[s].direct_db - positions.front().speakers[s].direct_db - expected_db;
  }
  return changes;
}

const char* direction_of_change(double db) { return db > 0.0 ? "louder" : "quieter"; }

/// By how much the whole ring is louder at position p than at the first, dB: the median over the mains.
std::optional<double> change_of_ring(const std::vector<std::optional<double>>& changes) {
  std::vector<double> known;
  for (const auto& change : changes) {
    if (change) known.push_back(*change);
  }
  if (known.size() < fewest_mains) return {};
  return median(std::move(known));
}

bool is_clipped(const PositionMeasurement& position) {
  return std::ranges::any_of(position.findings, [](const Finding& f) {
    return f.code == "clipped-recording" && f.severity == Severity::stop;
  });
}

Finding changed_gain(const std::string& recording, std::size_t p, double db, const char* against) {
  return {Severity::warn, "spot-differs", std::nullopt,
          fmt::format("{}: at position {} the whole ring is {:.1f} dB {} than at {}: the microphone's gain or the "
                      "monitors' level was changed in between. Levels are taken from position 1; measure all positions "
                      "with the same gains.",
                      recording, p + 1, std::abs(db), direction_of_change(db), against)};
}

void compare_levels(const Rig& rig, std::span<const PositionMeasurement> positions, Findings& findings) {
  // What nominal places and the speakers' directivity leave open grows with the step (working values: in simulated
  // rooms a step of 0.3 m leaves at most 1.1 dB of the ring and 2 dB of one speaker).
  const auto away_m = [&](std::size_t p) {
    return length_m(rig.positions[p].offset_m - rig.positions.front().offset_m);
  };
  const auto all_db = [&](std::size_t p) { return 1.5 + 3.0 * away_m(p); };
  const auto one_db = [&](std::size_t p) { return 9.0 + 6.0 * away_m(p); };
  std::vector<std::optional<double>> ring(positions.size());
  std::vector<double> known;
  for (std::size_t p = 1; p < positions.size(); ++p) {
    ring[p] = change_of_ring(direct_changes(rig, positions, p));
    if (ring[p]) known.push_back(*ring[p]);
  }

  // When the others agree among themselves, it was the first that was made with another gain.
  constexpr std::size_t enough_to_vote = 3;
  const double common = median(known);
  const auto odd = [&](std::size_t p, double reference) { return std::abs(*ring[p] - reference) > all_db(p); };
  std::size_t alike = 0;
  std::size_t as_first = 0;
  for (std::size_t p = 1; p < positions.size(); ++p) {
    alike += ring[p] && !odd(p, common);
    as_first += ring[p] && !odd(p, 0.0);
  }
  const bool first_is_odd = known.size() >= enough_to_vote && as_first == 0 && 2 * alike > known.size();
  const double reference = first_is_odd ? common : 0.0;
  // A clipped recording is to be made again with less gain anyway, and its levels are what clipping left of them.
  if (first_is_odd && !is_clipped(positions.front()))
    findings.push_back(changed_gain(positions.front().name, 0, -common, "the others"));

  for (std::size_t p = 1; p < positions.size(); ++p) {
    if (!ring[p]) continue;
    if (odd(p, reference) && !is_clipped(positions[p])) {
      findings.push_back(
          changed_gain(positions[p].name, p, *ring[p] - reference, first_is_odd ? "most others" : "position 1"));
    }
    const auto changes = level_changes(rig, positions, p);
    const double usual = change_of_ring(changes).value_or(0.0);
    for (std::size_t s = 0; s < changes.size(); ++s) {
      if (!changes[s] || std::abs(*changes[s] - usual) <= one_db(p)) continue;
      const double own = *changes[s] - usual;
      findings.push_back(
          {Severity::warn, "spot-differs", rig.speakers[s].label,
           fmt::format("{}: at position {} {} is {:.1f} dB {} against the others than at position 1: "
                       "something stood in the way, or its level was changed. Measure both positions "
                       "again.",
                       positions[p].name, p + 1, rig.speakers[s].label, std::abs(own), direction_of_change(own))});
    }
  }
}

void find_silent_here(const Rig& rig, std::span<const PositionMeasurement> positions, Findings& findings) {
  for (std::size_t s = 0; s < rig.speakers.size(); ++s) {
    std::string heard;
    std::string silent;
    for (std::size_t p = 0; p < positions.size(); ++p) {
      const SpeakerMeasurement& measured = positions[p].speakers[s];
      if (!measured.heard && !measured.trusted) continue;  // spoilt, and said so
      std::string& where = measured.heard ? heard : silent;
      where += fmt::format("{}{}", where.empty() ? "" : ", ", p + 1);
    }
    if (heard.empty() || silent.empty()) continue;
    findings.push_back(
        {Severity::warn, "silent-output", rig.speakers[s].label,
         fmt::format("{} (output {}) is heard at position {} but not at position {}: it was off or muted "
                     "for part of the time. Measure those positions again.",
                     rig.speakers[s].label, rig.speakers[s].output, heard, silent)});
  }
}

}  // namespace

SpotCheck check_spots(const Rig& rig, std::span<const PositionMeasurement> positions) {
  SpotCheck check{std::vector<std::optional<Point>>(positions.size()), {}};
  for (std::size_t p = 0; p < std::min(positions.size(), rig.positions.size()); ++p) {
    check.stood[p] = rig.positions[p].offset_m;
  }
  if (positions.size() < 2 || positions.size() > rig.positions.size()) return check;
  compare_levels(rig, positions, check.findings);
  find_silent_here(rig, positions, check.findings);
  find_misplaced_spots(rig, positions, check);
  return check;
}

}  // namespace ringtrue
