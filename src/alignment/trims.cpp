#include "ringtrue/alignment/trims.hpp"

#include <cstddef>

namespace ringtrue {
namespace {

double trim_for(const TrimInput& speaker, double common_db) {
  return common_db + speaker.above_mains_db - speaker.level_db;
}

std::size_t misfits(std::span<const std::optional<TrimInput>> speakers, double common_db, const Steps& trim_db) {
  std::size_t count = 0;
  for (const auto& speaker : speakers) {
    if (!speaker) continue;
    const double trim = trim_for(*speaker, common_db);
    const double slack = 0.5 * trim_db.step;
    if (trim > trim_db.range[1] + slack || trim < trim_db.range[0] - slack) ++count;
  }
  return count;
}

/// The common level with the fewest speakers out of range, the loudest of these.
std::optional<double> common_level_db(std::span<const std::optional<TrimInput>> speakers, const Steps& trim_db) {
  std::optional<double> best;
  std::size_t fewest = speakers.size() + 1;
  for (const auto& tightest : speakers) {
    if (!tightest) continue;
    const double candidate = tightest->level_db - tightest->above_mains_db + trim_db.range[1];
    const std::size_t count = misfits(speakers, candidate, trim_db);
    if (count < fewest || (count == fewest && candidate > *best)) {
      fewest = count;
      best = candidate;
    }
  }
  return best;
}

}  // namespace

std::vector<std::optional<Rounded>> level_trims_db(std::span<const std::optional<TrimInput>> speakers,
                                                   const Steps& trim_db) {
  const auto common = common_level_db(speakers, trim_db);
  std::vector<std::optional<double>> wanted;
  for (const auto& speaker : speakers) {
    wanted.push_back(speaker ? std::optional{trim_for(*speaker, *common)} : std::nullopt);
  }
  return round_jointly(wanted, trim_db);
}

}  // namespace ringtrue
