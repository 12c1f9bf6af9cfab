#include "ringtrue/response/clock.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <map>
#include <numbers>

#include "ringtrue/core/parallel.hpp"
#include "ringtrue/core/statistics.hpp"
#include "ringtrue/dsp/phase_ramp.hpp"

namespace ringtrue {
namespace {

constexpr double agreement_s = 0.04;  // speakers of one ring arrive within 13 m of each other
constexpr double stands_out = 10.0;   // peak over median; Gaussian noise of 10^5 samples gives about 6.5

constexpr double apart_s = 0.06;       // two peaks of one sweep nearer than this are one arrival and its room
constexpr std::size_t most_peaks = 4;  // of one sweep: its own arrival, and neighbours within the search range

/// How many sweeps have a peak from a lag on.
double votes_for(double from_s, const std::vector<std::vector<Lag>>& lags_by_sweep) {
  double votes = 0.0;
  for (const auto& lags : lags_by_sweep) {
    double vote = 0.0;
    for (const Lag& lag : lags) {
      if (lag.lag_s >= from_s && lag.lag_s <= from_s + agreement_s) vote = std::max(vote, lag.weight);
    }
    votes += vote;
  }
  return votes;
}

/// The lag at which most sweeps have a peak; empty when the votes do not reach `needed`.
std::optional<double> agreed_lag(const std::vector<std::vector<Lag>>& lags_by_sweep, double needed) {
  std::optional<double> best;
  double most = 0.0;
  for (const auto& candidates : lags_by_sweep) {
    for (const Lag& from : candidates) {
      const double votes = votes_for(from.lag_s, lags_by_sweep);
      if (votes < needed || votes <= most) continue;
      most = votes;
      best = from.lag_s;
    }
  }
  return best;
}

/// True when no neighbour's sweep can fall into the search range, so that a few agreeing sweeps settle the matter.
bool unambiguous(const Stimulus& stimulus) {
  for (std::size_t i = 1; i < stimulus.sweeps.size(); ++i) {
    const auto apart = static_cast<double>(stimulus.sweeps[i].first_frame - stimulus.sweeps[i - 1].first_frame);
    if (apart / stimulus.sample_rate_hz < latest_lag_s - earliest_lag_s + agreement_s) return false;
  }
  return true;
}

}  // namespace

std::vector<SweepPair> sweep_pairs(const Stimulus& stimulus) {
  std::map<std::size_t, SweepPair> by_speaker;
  std::vector<std::size_t> order;
  for (std::size_t i = 0; i < stimulus.sweeps.size(); ++i) {
    const std::size_t speaker = stimulus.sweeps[i].speaker;
    const auto [entry, is_new] = by_speaker.try_emplace(speaker, SweepPair{speaker, i, i});
    entry->second.second = i;
    if (is_new) order.push_back(speaker);
  }
  std::vector<SweepPair> pairs;
  for (const std::size_t speaker : order) pairs.push_back(by_speaker.at(speaker));
  return pairs;
}

std::vector<Lag> prominent_lags(std::vector<double> h, std::size_t zero_index, double rate_hz) {
  for (double& x : h) x = std::abs(x);
  const std::vector<double> whole = h;
  // Whether a peak stands out of the median is counted: finding the median itself takes ten times as long.
  const auto plain = [&](double peak) {
    std::ptrdiff_t lower = 0;
    for (const double x : whole) lower += x < peak / stands_out ? 1 : 0;
    return lower > std::ssize(whole) / 2;
  };
  const auto reach = static_cast<std::ptrdiff_t>(apart_s * rate_hz);
  std::vector<Lag> lags;
  double highest = 0.0;
  while (lags.size() < most_peaks) {
    const auto peak = std::ranges::max_element(h);
    highest = std::max(highest, *peak);
    if (!plain(*peak) || *peak < 0.03 * highest) break;
    const double lag = static_cast<double>(peak - h.begin()) - static_cast<double>(zero_index);
    lags.push_back({lag / rate_hz, std::min(1.0, 3.0 * *peak / highest)});
    std::fill(peak - std::min(reach, peak - h.begin()), peak + std::min(reach, h.end() - peak), 0.0);
  }
  return lags;
}

std::vector<double> agreed_lags(const std::vector<std::vector<Lag>>& lags_by_sweep) {
  constexpr double as_many = 0.5;
  constexpr std::size_t most_lags = 5;
  struct Candidate {
    double lag_s;
    double votes;
  };
  std::vector<Candidate> candidates;
  for (const auto& lags : lags_by_sweep) {
    for (const Lag& from : lags) candidates.push_back({from.lag_s, votes_for(from.lag_s, lags_by_sweep)});
  }
  std::ranges::sort(candidates, [](const Candidate& a, const Candidate& b) {
    return a.votes != b.votes ? a.votes > b.votes : a.lag_s < b.lag_s;
  });
  std::vector<double> agreed;
  for (const Candidate& candidate : candidates) {
    if (candidate.votes < 1.5 || candidate.votes < as_many * candidates.front().votes) break;
    const bool known = std::ranges::any_of(
        agreed, [&](double lag_s) { return std::abs(lag_s - candidate.lag_s) < 2.0 * agreement_s; });
    if (!known && agreed.size() < most_lags) agreed.push_back(candidate.lag_s);
  }
  return agreed;
}

std::optional<double> find_start(const Stimulus& stimulus, std::span<const float> channel, double recorder_rate_hz,
                                 std::span<const double> shifts_s, unsigned threads) {
  constexpr std::size_t at_once = 4;
  const ResponseWindow window{-earliest_lag_s, latest_lag_s};
  std::vector<std::optional<Deconvolver>> deconvolvers(stimulus.shapes.size());
  std::vector<std::vector<Lag>> lags;
  const std::size_t sweeps = stimulus.sweeps.size();
  const std::size_t enough = unambiguous(stimulus) ? at_once : sweeps + 1;
  for (std::size_t from = 0; from < sweeps; from += at_once) {
    std::vector<std::vector<Lag>> next(std::min(at_once, sweeps - from));
    for (std::size_t i = 0; i < next.size(); ++i) {
      const std::size_t shape = stimulus.sweeps[from + i].shape;
      if (deconvolvers[shape]) continue;
      deconvolvers[shape].emplace(stimulus.shapes[shape], stimulus.sample_rate_hz, recorder_rate_hz, window);
    }
    parallel_for(next.size(), threads, [&](std::size_t i) {
      const double shift_s = from + i < shifts_s.size() ? shifts_s[from + i] : 0.0;
      const Deconvolver& deconvolver = *deconvolvers[stimulus.sweeps[from + i].shape];
      const double zero = (start_s(stimulus, from + i) + shift_s) * recorder_rate_hz;
      next[i] = prominent_lags(deconvolver.response(channel, zero), deconvolver.zero_index(), recorder_rate_hz);
    });
    for (auto& of_sweep : next) {
      lags.push_back(std::move(of_sweep));
      if (lags.size() < enough) continue;
      if (const auto agreed = agreed_lag(lags, 3.5)) return agreed;
    }
  }
  return agreed_lag(lags, 1.5);
}

PairLag pair_lag(std::span<const double> first, std::span<const double> second, Band band, double sample_rate_hz) {
  const RealFft fft{good_fft_size(2 * first.size())};
  const auto a = spectrum(fft, first);
  const auto b = spectrum(fft, second);
  const double df = sample_rate_hz / static_cast<double>(fft.size());
  std::vector<std::complex<double>> cross(a.size());
  double energy_a = 0.0;
  double energy_b = 0.0;
  for (std::size_t k = 0; k < cross.size(); ++k) {
    const double f = static_cast<double>(k) * df;
    if (f < band.low.value() || f > band.high.value()) continue;
    cross[k] = b[k] * std::conj(a[k]);
    energy_a += std::norm(a[k]);
    energy_b += std::norm(b[k]);
  }
  if (energy_a <= 0.0 || energy_b <= 0.0) return {};

  std::vector<double> correlation(fft.size());
  auto bins = cross;
  fft.inverse(bins, correlation);
  const auto peak = std::ranges::max_element(correlation) - correlation.begin();
  const auto n = static_cast<std::ptrdiff_t>(fft.size());
  double lag = static_cast<double>(peak > n / 2 ? peak - n : peak);

  // Newton steps on the correlation C(lag) = sum Re(cross exp(i w lag)): its maximum is the weighted phase slope's
  // zero.
  double height = 0.0;
  double curvature = 0.0;
  for (int step = 0; step < 4; ++step) {
    double slope = 0.0;
    height = curvature = 0.0;
    const double w1 = 2.0 * std::numbers::pi / static_cast<double>(fft.size());
    PhaseRamp phase{0.0, w1 * lag};
    for (std::size_t k = 0; k < cross.size(); ++k) {
      const std::complex<double> turn = phase.next();
      if (cross[k] == std::complex<double>{}) continue;
      const double w = w1 * static_cast<double>(k);
      const std::complex<double> turned = cross[k] * turn;
      height += turned.real();
      slope -= w * turned.imag();
      curvature += w * w * turned.real();
    }
    if (curvature <= 0.0) break;
    lag += std::clamp(slope / curvature, -1.0, 1.0);
  }
  const double coherence = std::clamp(height / std::sqrt(energy_a * energy_b), 0.0, 1.0);
  // Cramer-Rao for two noisy copies: var(lag) = (1/g^2 - 1) / (2 B w2), with B the number of bins of signal, w2 their
  // mean square frequency; (height^2 / sum) stands for B.
  const double mean_square_w = curvature > 0.0 && height > 0.0 ? curvature / height : 1.0;
  double power_of_cross = 0.0;
  for (const auto& c : cross) power_of_cross += std::norm(c);
  const double bins_of_signal = power_of_cross > 0.0 ? height * height / power_of_cross : 1.0;
  const double g = std::max(coherence, 1e-6);
  const double variance = (1.0 / (g * g) - 1.0) / (2.0 * std::max(bins_of_signal, 1.0) * mean_square_w);
  const double frequencies = bins_of_signal * static_cast<double>(first.size()) / static_cast<double>(fft.size());
  return {lag, std::sqrt(std::max(variance, 0.0)), coherence, frequencies};
}

}  // namespace ringtrue
