#include "ringtrue/response/clock.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <complex>
#include <map>
#include <numbers>

#include "ringtrue/core/parallel.hpp"
#include "ringtrue/core/statistics.hpp"
#include "ringtrue/dsp/phase_ramp.hpp"
#include "ringtrue/dsp/real_fft.hpp"

namespace ringtrue {
namespace {

constexpr double agreement_s = 0.04;  // speakers of one ring arrive within 13 m of each other
constexpr double stands_out = 10.0;   // peak over median; Gaussian noise of 10^5 samples gives about 6.5

// Peaks are sought below an eighth of the sample rate: above, a search is no surer, and takes four times as long. Not
// in a main's bass, where rooms are noisy.
constexpr std::size_t usually_thinned = 4;
constexpr Hertz above_noise{300.0};
constexpr Hertz broad_sweep{1'000.0};

constexpr double apart_s = 0.06;       // two peaks of one sweep nearer than this are one arrival and its room
constexpr std::size_t most_peaks = 4;  // of one sweep: its own arrival, and neighbours within the search range

/// What a sweep is sought in: a speaker of the treble alone has nothing below.
std::size_t thinned_for(Band band, double rate_hz) { return band.low.value() < rate_hz / 16.0 ? usually_thinned : 1; }

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

/// The lag at which most sweeps have a peak, of equals the smallest: where sweeps of one kind follow each other, a lag
/// by one of them fits all but one. Empty when the votes do not reach `needed`.
std::optional<double> agreed_lag(const std::vector<std::vector<Lag>>& lags_by_sweep, double needed) {
  std::optional<double> best;
  double most = 0.0;
  for (const auto& candidates : lags_by_sweep) {
    for (const Lag& from : candidates) {
      const double votes = votes_for(from.lag_s, lags_by_sweep);
      constexpr double equal = 1e-9;
      if (votes < needed || votes < most - equal) continue;
      if (best && votes < most + equal && std::abs(from.lag_s) >= std::abs(*best)) continue;
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

/// Vertex of the parabola through a peak and the values beside it, from the peak on.
double vertex_of(const std::vector<float>& h, std::vector<float>::iterator peak) {
  if (peak == h.begin() || peak + 1 == h.end()) return 0.0;
  const auto before = static_cast<double>(*(peak - 1));
  const auto after = static_cast<double>(*(peak + 1));
  const double bend = before - 2.0 * static_cast<double>(*peak) + after;
  return bend < 0.0 ? std::clamp(0.5 * (before - after) / bend, -0.5, 0.5) : 0.0;
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

std::vector<Lag> prominent_lags(std::vector<float> h, std::size_t zero_index, double rate_hz) {
  for (float& x : h) x = std::abs(x);
  const std::vector<float> whole = h;
  // Whether a peak stands out of the median is counted: finding the median itself takes ten times as long.
  const auto plain = [&](double peak) {
    std::ptrdiff_t lower = 0;
    const auto low = static_cast<float>(peak / stands_out);
    for (const float x : whole) lower += x < low ? 1 : 0;
    return lower > std::ssize(whole) / 2;
  };
  const auto reach = static_cast<std::ptrdiff_t>(apart_s * rate_hz);
  std::vector<Lag> lags;
  double highest = 0.0;
  while (lags.size() < most_peaks) {
    Eigen::Index where = 0;
    const auto height = static_cast<double>(Eigen::Map<const Eigen::ArrayXf>{h.data(), std::ssize(h)}.maxCoeff(&where));
    const auto peak = h.begin() + where;
    highest = std::max(highest, height);
    if (!plain(height) || height < 0.03 * highest) break;
    const double at = static_cast<double>(peak - h.begin()) + vertex_of(h, peak);
    lags.push_back({(at - static_cast<double>(zero_index)) / rate_hz, std::min(1.0, 3.0 * height / highest)});
    std::fill(peak - std::min(reach, peak - h.begin()), peak + std::min(reach, h.end() - peak), 0.0F);
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
    std::vector<std::size_t> missing;
    for (std::size_t i = 0; i < next.size(); ++i) missing.push_back(stimulus.sweeps[from + i].shape);
    std::ranges::sort(missing);
    missing.erase(std::unique(missing.begin(), missing.end()), missing.end());
    std::erase_if(missing, [&](std::size_t shape) { return deconvolvers[shape].has_value(); });
    parallel_for(missing.size(), threads, [&](std::size_t i) {
      deconvolvers[missing[i]].emplace(stimulus.shapes[missing[i]], stimulus.sample_rate_hz, recorder_rate_hz, window);
    });
    parallel_for(next.size(), threads, [&](std::size_t i) {
      const double shift_s = from + i < shifts_s.size() ? shifts_s[from + i] : 0.0;
      const std::size_t shape = stimulus.sweeps[from + i].shape;
      const Band band = stimulus.shapes[shape].band;
      const Hertz low = band.high > broad_sweep ? above_noise : Hertz{0.0};
      const std::size_t thinned = thinned_for(band, recorder_rate_hz);
      const double zero = (start_s(stimulus, from + i) + shift_s) * recorder_rate_hz;
      next[i] =
          prominent_lags(deconvolvers[shape]->thinned_response(channel, zero, low, thinned),
                         deconvolvers[shape]->zero_index() / thinned, recorder_rate_hz / static_cast<double>(thinned));
    });
    for (auto& of_sweep : next) {
      lags.push_back(std::move(of_sweep));
      if (lags.size() < enough) continue;
      if (const auto agreed = agreed_lag(lags, 3.5)) return agreed;
    }
  }
  return agreed_lag(lags, 1.5);
}

namespace {

/// The cross-spectrum of two responses inside a band.
struct CrossSpectrum {
  std::size_t size = 0;   // of the transform
  std::size_t first = 0;  // bin of bins[0]
  std::vector<std::complex<double>> bins;
  double first_energy = 0.0;
  double second_energy = 0.0;

  CrossSpectrum(std::span<const float> one, std::span<const float> other, std::size_t padded_to, Band band,
                double sample_rate_hz)
      : size{good_fft_size(padded_to)} {
    const RealFft fft{size};
    const auto a = spectrum(fft, one);
    const auto b = spectrum(fft, other);
    const double df = sample_rate_hz / static_cast<double>(size);
    first = static_cast<std::size_t>(std::ceil(band.low.value() / df));
    const auto end = std::min(a.size(), static_cast<std::size_t>(std::floor(band.high.value() / df)) + 1);
    bins.reserve(end > first ? end - first : 0);
    for (std::size_t k = first; k < end; ++k) {
      bins.push_back(b[k] * std::conj(a[k]));
      first_energy += std::norm(a[k]);
      second_energy += std::norm(b[k]);
    }
  }

  [[nodiscard]] bool empty() const { return first_energy <= 0.0 || second_energy <= 0.0; }

  /// Where the correlation is highest, in whole samples.
  [[nodiscard]] double peak() const {
    const RealFft fft{size};
    Spectrum all(fft.bin_count());
    std::fill(all.begin(), all.end(), 0.0);
    std::ranges::copy(bins, all.begin() + static_cast<std::ptrdiff_t>(first));
    Scratch<double> correlation(size);
    fft.inverse_unscaled(all, correlation);
    const auto at = std::ranges::max_element(correlation) - correlation.begin();
    const auto n = static_cast<std::ptrdiff_t>(size);
    return static_cast<double>(at > n / 2 ? at - n : at);
  }
};

/// Newton steps on the correlation C(lag) = sum Re(cross exp(i w lag)): its maximum is the weighted phase slope's zero.
/// @param length  of the responses, without padding
PairLag refine(const CrossSpectrum& cross, double lag, std::size_t length) {
  constexpr int most_steps = 4;
  constexpr double settled = 1e-9;  // samples
  const double w1 = 2.0 * std::numbers::pi / static_cast<double>(cross.size);
  double height = 0.0;
  double curvature = 0.0;
  for (int step = 0; step < most_steps; ++step) {
    double slope = 0.0;
    height = curvature = 0.0;
    PhaseRamp phase{w1 * lag * static_cast<double>(cross.first), w1 * lag};
    for (std::size_t i = 0; i < cross.bins.size(); ++i) {
      const double w = w1 * static_cast<double>(cross.first + i);
      const std::complex<double> turned = cross.bins[i] * phase.next();
      height += turned.real();
      slope -= w * turned.imag();
      curvature += w * w * turned.real();
    }
    if (curvature <= 0.0) break;
    const double correction = std::clamp(slope / curvature, -1.0, 1.0);
    lag += correction;
    if (std::abs(correction) < settled) break;
  }
  const double coherence = std::clamp(height / std::sqrt(cross.first_energy * cross.second_energy), 0.0, 1.0);
  // Cramer-Rao for two noisy copies: var(lag) = (1/g^2 - 1) / (2 B w2), with B the number of bins of signal, w2 their
  // mean square frequency; (height^2 / sum) stands for B.
  const double mean_square_w = curvature > 0.0 && height > 0.0 ? curvature / height : 1.0;
  double power_of_cross = 0.0;
  for (const auto& c : cross.bins) power_of_cross += std::norm(c);
  const double bins_of_signal = power_of_cross > 0.0 ? height * height / power_of_cross : 1.0;
  const double g = std::max(coherence, 1e-6);
  const double variance = (1.0 / (g * g) - 1.0) / (2.0 * std::max(bins_of_signal, 1.0) * mean_square_w);
  const double frequencies = bins_of_signal * static_cast<double>(length) / static_cast<double>(cross.size);
  return {lag, std::sqrt(std::max(variance, 0.0)), coherence, frequencies};
}

}  // namespace

PairLag pair_lag(std::span<const float> first, std::span<const float> second, Band band, double sample_rate_hz) {
  const CrossSpectrum cross{first, second, 2 * first.size(), band, sample_rate_hz};
  if (cross.empty()) return {};
  return refine(cross, cross.peak(), first.size());
}

PairLag small_pair_lag(std::span<const float> first, std::span<const float> second, Band band, double sample_rate_hz) {
  const CrossSpectrum cross{first, second, first.size(), band, sample_rate_hz};
  if (cross.empty()) return {};
  return refine(cross, 0.0, first.size());
}

}  // namespace ringtrue
