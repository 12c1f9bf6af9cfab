#include "ringtrue/alignment/subwoofers.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <numbers>

namespace ringtrue {
namespace {

constexpr double furthest_shift_ms = 10.0;
constexpr double shift_step_ms = 0.5;
constexpr double loss_price_db2_per_db = 4.0;
constexpr double worth_db2 = 0.1;  // what a change of offset has to win
constexpr int most_rounds = 10;
constexpr double gain_step_db = 1.5;
constexpr int gain_steps = 4;                 // to 6 dB either way: a quieter sub does next to nothing
constexpr std::size_t most_turned_first = 4;  // subs whose polarities are all tried as starting points

double level_db(std::complex<double> h) { return 10.0 * std::log10(std::max(std::norm(h), 1e-30)); }

double mean_level_db(const BassResponses& sum) {
  double total = 0.0;
  std::size_t count = 0;
  for (const auto& position : sum) {
    for (const auto& h : position) total += level_db(h);
    count += position.size();
  }
  return total / static_cast<double>(std::max<std::size_t>(count, 1));
}

/// What subs that know nothing of each other yield.
BassResponses power_sum(std::span<const BassResponses> subs) {
  BassResponses sum = subs.front();
  for (std::size_t p = 0; p < sum.size(); ++p) {
    for (std::size_t k = 0; k < sum[p].size(); ++k) {
      double power = 0.0;
      for (const BassResponses& sub : subs) power += std::norm(sub[p][k]);
      sum[p][k] = std::sqrt(power);
    }
  }
  return sum;
}

/// A choice of offsets judged: variation, and what lost output costs on top. @param gain_db  the highest in the sum
/// @param free_level_db  below, each dB costs
double cost_db2(const BassResponses& sum, double gain_db, double free_level_db) {
  const double lost_db = free_level_db - (mean_level_db(sum) - gain_db);
  return mean_spatial_variance_db2(sum) + loss_price_db2_per_db * std::max(0.0, lost_db);
}

void add(BassResponses& sum, const BassResponses& sub, const SubwooferOffset& offset,
         std::span<const double> frequency_hz) {
  const double gain = std::pow(10.0, offset.gain_db / 20.0);
  for (std::size_t k = 0; k < frequency_hz.size(); ++k) {
    const double angle = -2e-3 * std::numbers::pi * frequency_hz[k] * offset.shift_ms;
    const auto turn = std::polar(gain, angle) * (offset.flip ? -1.0 : 1.0);
    for (std::size_t p = 0; p < sum.size(); ++p) sum[p][k] += sub[p][k] * turn;
  }
}

/// All offsets one sub may have against the first, those that change least first.
std::vector<SubwooferOffset> choices(bool may_flip) {
  std::vector<SubwooferOffset> all;
  for (int gain_step = 0; gain_step <= 2 * gain_steps; ++gain_step) {  // 0, -1, 1, -2, 2 ...
    const double gain = (gain_step % 2 == 0 ? 1 : -1) * ((gain_step + 1) / 2) * gain_step_db;
    for (int step = 0; step <= static_cast<int>(furthest_shift_ms / shift_step_ms); ++step) {
      const double shift = step * shift_step_ms;
      for (const bool flip : {false, true}) {
        if (flip && !may_flip) continue;
        all.push_back({shift, flip, gain});
        if (shift > 0.0) all.push_back({-shift, flip, gain});
      }
    }
  }
  return all;
}

/// The gain of the loudest, the first being at 0 dB.
double loudest_db(std::span<const SubwooferOffset> offsets) {
  return std::ranges::max_element(offsets, {}, &SubwooferOffset::gain_db)->gain_db;
}

/// The best offset of one sub while the others keep theirs; true when it changed.
bool improve(std::size_t sub, std::span<const BassResponses> subs, std::span<const double> frequency_hz,
             std::span<const SubwooferOffset> tried, double free_level_db, std::vector<SubwooferOffset>& offsets) {
  BassResponses others(subs[sub].size(), std::vector<std::complex<double>>(frequency_hz.size()));
  double loudest_other_db = 0.0;  // of the first at least
  for (std::size_t s = 0; s < subs.size(); ++s) {
    if (s == sub) continue;
    add(others, subs[s], offsets[s], frequency_hz);
    loudest_other_db = std::max(loudest_other_db, offsets[s].gain_db);
  }
  const auto cost_of = [&](const SubwooferOffset& offset) {
    BassResponses sum = others;
    add(sum, subs[sub], offset, frequency_hz);
    return cost_db2(sum, std::max(loudest_other_db, offset.gain_db), free_level_db);
  };
  double least = cost_of(offsets[sub]) - worth_db2;
  bool changed = false;
  for (const SubwooferOffset& offset : tried) {
    const double cost = cost_of(offset);
    if (cost >= least) continue;
    least = cost;
    offsets[sub] = offset;
    changed = true;
  }
  return changed;
}

/// One sub after another from given offsets until nothing improves.
std::vector<SubwooferOffset> descend(std::vector<SubwooferOffset> offsets, std::span<const BassResponses> subs,
                                     std::span<const double> frequency_hz, bool may_flip, double free_level_db) {
  const auto tried = choices(may_flip);
  for (int round = 0; round < most_rounds; ++round) {
    bool changed = false;
    for (std::size_t s = 1; s < subs.size(); ++s) {
      changed = improve(s, subs, frequency_hz, tried, free_level_db, offsets) || changed;
    }
    if (!changed) break;
  }
  return offsets;
}

/// Combinations of polarities to begin with, none turned first.
std::vector<std::vector<SubwooferOffset>> starting_points(std::size_t subs, bool may_flip) {
  std::vector<std::vector<SubwooferOffset>> all;
  const std::size_t combinations = may_flip && subs <= most_turned_first ? std::size_t{1} << (subs - 1) : 1;
  for (std::size_t turned = 0; turned < combinations; ++turned) {
    all.emplace_back(subs);
    for (std::size_t s = 1; s < subs; ++s) all.back()[s].flip = ((turned >> (s - 1)) & 1U) != 0;
  }
  return all;
}

/// The loudest at 0 dB.
void normalise_gains(std::vector<SubwooferOffset>& offsets) {
  const double loudest = loudest_db(offsets);
  for (SubwooferOffset& offset : offsets) offset.gain_db -= loudest;
}

}  // namespace

double mean_spatial_variance_db2(const BassResponses& sum) {
  if (sum.empty() || sum.front().empty()) return 0.0;
  const auto positions = static_cast<double>(sum.size());
  double total = 0.0;
  for (std::size_t k = 0; k < sum.front().size(); ++k) {
    double mean = 0.0;
    for (const auto& position : sum) mean += level_db(position[k]) / positions;
    for (const auto& position : sum) total += std::pow(level_db(position[k]) - mean, 2.0) / positions;
  }
  return total / static_cast<double>(sum.front().size());
}

BassResponses sum_of(std::span<const BassResponses> subs, std::span<const SubwooferOffset> offsets,
                     std::span<const double> frequency_hz) {
  BassResponses sum(subs.front().size(), std::vector<std::complex<double>>(frequency_hz.size()));
  for (std::size_t s = 0; s < subs.size(); ++s) add(sum, subs[s], offsets[s], frequency_hz);
  return sum;
}

std::vector<SubwooferOffset> even_out_subwoofers(std::span<const BassResponses> subs,
                                                 std::span<const double> frequency_hz, bool may_flip,
                                                 double free_loss_db) {
  std::vector<SubwooferOffset> best(subs.size());
  if (subs.size() < 2) return best;
  const double free_level_db =
      std::max(mean_level_db(sum_of(subs, best, frequency_hz)), mean_level_db(power_sum(subs))) - free_loss_db;
  double least = std::numeric_limits<double>::infinity();
  for (auto& start : starting_points(subs.size(), may_flip)) {
    auto found = descend(std::move(start), subs, frequency_hz, may_flip, free_level_db);
    const double cost = cost_db2(sum_of(subs, found, frequency_hz), loudest_db(found), free_level_db);
    if (cost >= least - worth_db2) continue;
    least = cost;
    best = std::move(found);
  }
  normalise_gains(best);
  return best;
}

}  // namespace ringtrue
