#include "exchanged.hpp"

#include <algorithm>

#include "assignment.hpp"

namespace ringtrue {
namespace {

constexpr double far_away_deg = 60.0;         // further away counts no more: it is just the wrong place
constexpr double gain_per_speaker_deg = 8.0;  // an exchange must explain that much more, on average
constexpr double at_home_deg = 15.0;          // of another's place: stands there, also when that one was not heard
constexpr double staying_bonus_deg = 1.0;     // everyone in their own place, unless something speaks against it

/// Speakers that belong somewhere, located or not: one that was not heard may be anywhere.
std::vector<std::size_t> judged(std::span<const std::optional<NominalPlace>> nominal) {
  std::vector<std::size_t> all;
  for (std::size_t s = 0; s < nominal.size(); ++s) {
    if (nominal[s]) all.push_back(s);
  }
  return all;
}

double away_deg(const std::optional<Located>& found, const NominalPlace& nominal) {
  if (!found) return 0.0;
  return std::min(angle_between_deg(direction_of(found->place), nominal.direction), far_away_deg);
}

}  // namespace

std::vector<std::size_t> places_taken(std::span<const std::optional<NominalPlace>> nominal,
                                      std::span<const std::optional<Located>> found) {
  const std::vector<std::size_t> speakers = judged(nominal);
  std::vector<std::vector<double>> cost(speakers.size(), std::vector<double>(speakers.size()));
  for (std::size_t i = 0; i < speakers.size(); ++i) {
    for (std::size_t j = 0; j < speakers.size(); ++j) {
      cost[i][j] = away_deg(found[speakers[i]], *nominal[speakers[j]]) - (i == j ? staying_bonus_deg : 0.0);
    }
  }
  const std::vector<std::size_t> column = least_assignment(cost);

  std::vector<std::size_t> taken(nominal.size());
  for (std::size_t s = 0; s < taken.size(); ++s) taken[s] = s;
  std::vector<bool> seen(speakers.size(), false);
  for (std::size_t start = 0; start < speakers.size(); ++start) {
    std::vector<std::size_t> cycle;
    for (std::size_t i = start; !seen[i]; i = column[i]) {
      seen[i] = true;
      cycle.push_back(i);
    }
    if (cycle.size() < 2) continue;
    double gain_deg = 0.0;
    double located = 0.0;
    bool all_at_home = true;
    bool all_located = true;
    for (const std::size_t i : cycle) {
      all_located = all_located && found[speakers[i]];
      if (!found[speakers[i]]) continue;
      located += 1.0;
      gain_deg += cost[i][i] - cost[i][column[i]];
      all_at_home = all_at_home && cost[i][column[i]] <= at_home_deg;
    }
    if (gain_deg < gain_per_speaker_deg * located || (!all_located && !all_at_home)) continue;
    for (const std::size_t i : cycle) {
      if (found[speakers[i]]) taken[speakers[i]] = speakers[column[i]];
    }
  }
  return taken;
}

}  // namespace ringtrue
