#include "bass_ring.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace ringtrue {
namespace {

double db(double power) { return 10.0 * std::log10(std::max(power, 1e-30)); }

/// Shares of the bins in a band on a logarithmic scale; each reaches halfway to its neighbours.
std::vector<double> log_weights(std::span<const double> frequency_hz) {
  const std::size_t n = frequency_hz.size();
  std::vector<double> weights(n, 1.0);
  if (n < 2) return weights;
  double sum = 0.0;
  for (std::size_t k = 0; k < n; ++k) {
    const double below = frequency_hz[k == 0 ? 0 : k - 1];
    const double above = frequency_hz[k + 1 == n ? k : k + 1];
    weights[k] = std::log(above / below);
    sum += weights[k];
  }
  for (double& weight : weights) weight /= sum;
  return weights;
}

/// exp(i w shift) for every bin of a pair.
std::vector<std::complex<double>> turns(const BassSeat& seat, double shift_ms) {
  std::vector<std::complex<double>> result;
  result.reserve(seat.size());
  for (const BassBin& bin : seat) result.push_back(std::polar(1.0, bin.rad_per_ms * shift_ms));
  return result;
}

BassLevel difference(const BassLevel& a, const BassLevel& b) {
  return {a.power_db - b.power_db, a.mean_db - b.mean_db};
}

}  // namespace

std::vector<BassSeat> bass_seats(const BassPair& pair) { return bass_seats(pair, pair.sub); }

std::vector<BassSeat> bass_seats(const BassPair& pair, const BassResponses& subs) {
  const auto weights = log_weights(pair.frequency_hz);
  std::vector<BassSeat> seats(pair.main.size());
  for (std::size_t p = 0; p < seats.size(); ++p) {
    for (std::size_t k = 0; k < weights.size(); ++k) {
      const std::complex<double> main = pair.main[p][k];
      const std::complex<double> sub = subs[p][k];
      seats[p].push_back({2e-3 * std::numbers::pi * pair.frequency_hz[k], weights[k], std::norm(main) + std::norm(sub),
                          2.0 * main * std::conj(sub)});
    }
  }
  return seats;
}

std::array<BassLevel, 2> bass_levels(const std::vector<BassSeat>& seats, double shift_ms) {
  std::array<BassLevel, 2> sum;
  const auto turn = turns(seats.front(), shift_ms);
  for (const BassSeat& seat : seats) {
    std::array<double, 2> power{};
    for (std::size_t k = 0; k < seat.size(); ++k) {
      const BassBin& bin = seat[k];
      const double swing = bin.turning.real() * turn[k].real() - bin.turning.imag() * turn[k].imag();
      for (const std::size_t invert : {0U, 1U}) {
        const double p = bin.still + (invert == 1 ? -swing : swing);
        power[invert] += bin.weight * p;
        sum[invert].mean_db += bin.weight * db(p);
      }
    }
    for (const std::size_t invert : {0U, 1U}) sum[invert].power_db += db(power[invert]);
  }
  const double share = 1.0 / static_cast<double>(seats.size());
  for (BassLevel& level : sum) level = {level.power_db * share, level.mean_db * share};
  return sum;
}

BassRing::BassRing(std::span<const BassPair> pairs, bool arrival_inverted) {
  double sum = 0.0;
  for (const BassPair& pair : pairs) {
    seats_.push_back(bass_seats(pair));
    shares_.push_back(pair.importance);
    arrival_.push_back(pair.sub_by_arrival.empty() ? bass_levels(seats_.back(), 0.0)[arrival_inverted ? 1 : 0]
                                                   : bass_levels(bass_seats(pair, pair.sub_by_arrival), 0.0)[0]);
    sum += pair.importance;
  }
  for (double& share : shares_) share /= sum;
}

std::array<BassTrial, 2> BassRing::trials(double shift_ms) const {
  std::array<BassTrial, 2> result{BassTrial{shift_ms, false, {}, 1e9}, BassTrial{shift_ms, true, {}, 1e9}};
  for (std::size_t m = 0; m < seats_.size(); ++m) {
    const auto level = bass_levels(seats_[m], shift_ms);
    for (const std::size_t i : {0U, 1U}) {
      const BassLevel change = difference(level[i], arrival_[m]);
      result[i].gain.power_db += shares_[m] * change.power_db;
      result[i].gain.mean_db += shares_[m] * change.mean_db;
      result[i].worst_change_db = std::min({result[i].worst_change_db, change.power_db, change.mean_db});
    }
  }
  return result;
}

std::vector<BassLevel> BassRing::changes(double shift_ms, bool invert) const {
  std::vector<BassLevel> result;
  for (std::size_t m = 0; m < seats_.size(); ++m) {
    result.push_back(difference(bass_levels(seats_[m], shift_ms)[invert ? 1 : 0], arrival_[m]));
  }
  return result;
}

}  // namespace ringtrue
