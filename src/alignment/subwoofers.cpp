#include "ringtrue/alignment/subwoofers.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <numbers>

namespace ringtrue {
namespace {

constexpr double furthest_shift_ms = 10.0;
constexpr double shift_step_ms = 0.5;
constexpr double free_loss_db = 2.0;  // of output; more costs
constexpr double loss_price_db2_per_db = 4.0;
constexpr double worth_db2 = 0.1;  // what a change of offset has to win
constexpr int most_rounds = 10;

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

/// A choice of offsets judged: variation, and what lost output costs on top.
double cost_db2(const BassResponses& sum, double wanted_level_db) {
  const double loss_db = wanted_level_db - mean_level_db(sum);
  return mean_spatial_variance_db2(sum) + loss_price_db2_per_db * std::max(0.0, loss_db - free_loss_db);
}

void add(BassResponses& sum, const BassResponses& sub, const SubwooferOffset& offset,
         std::span<const double> frequency_hz) {
  for (std::size_t k = 0; k < frequency_hz.size(); ++k) {
    const double angle = -2e-3 * std::numbers::pi * frequency_hz[k] * offset.shift_ms;
    const auto turn = std::polar(1.0, angle) * (offset.flip ? -1.0 : 1.0);
    for (std::size_t p = 0; p < sum.size(); ++p) sum[p][k] += sub[p][k] * turn;
  }
}

/// All offsets one sub may have, those that change least first.
std::vector<SubwooferOffset> choices(bool may_flip) {
  std::vector<SubwooferOffset> all;
  for (double shift = 0.0; shift <= furthest_shift_ms; shift += shift_step_ms) {
    for (const bool flip : {false, true}) {
      if (flip && !may_flip) continue;
      all.push_back({shift, flip});
      if (shift > 0.0) all.push_back({-shift, flip});
    }
  }
  return all;
}

/// The best offset of one sub while the others keep theirs; true when it changed.
bool improve(std::size_t sub, std::span<const BassResponses> subs, std::span<const double> frequency_hz,
             std::span<const SubwooferOffset> tried, double wanted_level_db, std::vector<SubwooferOffset>& offsets) {
  BassResponses others(subs[sub].size(), std::vector<std::complex<double>>(frequency_hz.size()));
  for (std::size_t s = 0; s < subs.size(); ++s) {
    if (s != sub) add(others, subs[s], offsets[s], frequency_hz);
  }
  const auto cost_of = [&](const SubwooferOffset& offset) {
    BassResponses sum = others;
    add(sum, subs[sub], offset, frequency_hz);
    return cost_db2(sum, wanted_level_db);
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
                                                 std::span<const double> frequency_hz, bool may_flip) {
  std::vector<SubwooferOffset> offsets(subs.size());
  if (subs.size() < 2 || subs.front().size() < 2) return offsets;
  const double wanted_level_db = mean_level_db(sum_of(subs, offsets, frequency_hz));
  const auto tried = choices(may_flip);
  for (int round = 0; round < most_rounds; ++round) {
    bool changed = false;
    for (std::size_t s = 1; s < subs.size(); ++s) {
      changed = improve(s, subs, frequency_hz, tried, wanted_level_db, offsets) || changed;
    }
    if (!changed) break;
  }
  return offsets;
}

}  // namespace ringtrue
