#include "exchanged.hpp"

#include <algorithm>
#include <optional>

#include "assignment.hpp"

namespace ringtrue {
namespace {

// Working values, tuned on simulated rings of every layout.
constexpr double far_away_deg = 60.0;         // further away counts no more: it is just the wrong place
constexpr double nominal_share = 0.25;        // of a cost: which of two places with common ground it is
constexpr double gain_per_speaker_deg = 6.0;  // an exchange must explain that much more, on average
constexpr double worse_deg = 2.0;             // an exchange leaves nobody in a worse place than that: it needs all
constexpr double at_home_deg = 15.0;          // of another's place: stands there, also when that one was not heard
constexpr double staying_bonus_deg = 1.0;     // everyone in their own place, unless something speaks against it

using Costs = std::vector<std::vector<double>>;
using Cycle = std::vector<std::size_t>;  // each stands where the next belongs, the last where the first does

/// Speakers that belong somewhere, located or not: one that was not heard may be anywhere.
std::vector<std::size_t> judged(std::span<const std::optional<NominalPlace>> nominal) {
  std::vector<std::size_t> all;
  for (std::size_t s = 0; s < nominal.size(); ++s) {
    if (nominal[s]) all.push_back(s);
  }
  return all;
}

/// Mostly how far outside the range, for a part how far from the nominal direction.
double away_deg(const std::optional<Located>& found, const NominalPlace& nominal) {
  if (!found) return 0.0;
  const Direction direction = direction_of(found->place);
  const double outside_deg = angle_between_deg(direction, nearest_allowed(nominal, direction));
  const double nominal_deg = angle_between_deg(direction, nominal.direction);
  return (1.0 - nominal_share) * std::min(outside_deg, far_away_deg) +
         nominal_share * std::min(nominal_deg, far_away_deg);
}

Costs costs_of(std::span<const std::size_t> speakers, std::span<const std::optional<NominalPlace>> nominal,
               std::span<const std::optional<Located>> found) {
  Costs cost(speakers.size(), std::vector<double>(speakers.size()));
  for (std::size_t i = 0; i < speakers.size(); ++i) {
    for (std::size_t j = 0; j < speakers.size(); ++j) {
      cost[i][j] = away_deg(found[speakers[i]], *nominal[speakers[j]]) - (i == j ? staying_bonus_deg : 0.0);
    }
  }
  return cost;
}

std::vector<Cycle> cycles_of(std::span<const std::size_t> column) {
  std::vector<Cycle> cycles;
  std::vector<bool> seen(column.size(), false);
  for (std::size_t start = 0; start < column.size(); ++start) {
    Cycle cycle;
    for (std::size_t i = start; !seen[i]; i = column[i]) {
      seen[i] = true;
      cycle.push_back(i);
    }
    if (cycle.size() > 1) cycles.push_back(std::move(cycle));
  }
  return cycles;
}

/// What the exchange explains, in degrees; empty where it does not explain enough, or leaves somebody worse off: then
/// one speaker stands in another's place, which is no exchange.
std::optional<double> proved_gain_deg(const Cycle& cycle, const Costs& cost, const std::vector<bool>& is_located) {
  double gain_deg = 0.0;
  double located = 0.0;
  bool all_at_home = true;
  for (std::size_t k = 0; k < cycle.size(); ++k) {
    const std::size_t i = cycle[k];
    if (!is_located[i]) continue;
    const double there_deg = cost[i][cycle[(k + 1) % cycle.size()]];
    if (there_deg > cost[i][i] + staying_bonus_deg + worse_deg) return {};
    located += 1.0;
    gain_deg += cost[i][i] - there_deg;
    all_at_home = all_at_home && there_deg <= at_home_deg;
  }
  const bool all_located = located == static_cast<double>(cycle.size());
  if (gain_deg < gain_per_speaker_deg * located || (!all_located && !all_at_home)) return {};
  return gain_deg;
}

/// The pair of a cycle whose exchange explains most; empty where no pair's does.
std::optional<Cycle> best_pair(const Cycle& cycle, const Costs& cost, const std::vector<bool>& is_located) {
  std::optional<Cycle> best;
  double best_deg = 0.0;
  for (std::size_t a = 0; a < cycle.size(); ++a) {
    for (std::size_t b = a + 1; b < cycle.size(); ++b) {
      const Cycle pair{cycle[a], cycle[b]};
      const auto gain_deg = proved_gain_deg(pair, cost, is_located);
      if (!gain_deg || *gain_deg <= best_deg) continue;
      best = pair;
      best_deg = *gain_deg;
    }
  }
  return best;
}

}  // namespace

std::vector<std::size_t> places_taken(std::span<const std::optional<NominalPlace>> nominal,
                                      std::span<const std::optional<Located>> found) {
  const std::vector<std::size_t> speakers = judged(nominal);
  const Costs cost = costs_of(speakers, nominal, found);
  std::vector<bool> is_located;
  for (const std::size_t s : speakers) is_located.push_back(found[s].has_value());

  std::vector<std::size_t> taken(nominal.size());
  for (std::size_t s = 0; s < taken.size(); ++s) taken[s] = s;
  for (const Cycle& cycle : cycles_of(least_assignment(cost))) {
    const auto exchanged =
        proved_gain_deg(cycle, cost, is_located) ? std::optional{cycle} : best_pair(cycle, cost, is_located);
    if (!exchanged) continue;
    for (std::size_t k = 0; k < exchanged->size(); ++k) {
      if (is_located[(*exchanged)[k]])
        taken[speakers[(*exchanged)[k]]] = speakers[(*exchanged)[(k + 1) % exchanged->size()]];
    }
  }
  return taken;
}

}  // namespace ringtrue
