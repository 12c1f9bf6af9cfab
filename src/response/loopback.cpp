#include "ringtrue/response/loopback.hpp"

#include <algorithm>
#include <cmath>

#include "ringtrue/core/parallel.hpp"
#include "ringtrue/core/statistics.hpp"
#include "ringtrue/response/arrival.hpp"
#include "ringtrue/response/one_clock.hpp"

namespace ringtrue {
namespace {

/// Share of the energy near the peak of the differences, which weigh the treble: band edges ring in the bass.
std::optional<double> share_near_peak(std::span<const float> h, double rate_hz) {
  constexpr double near_s = 0.001;
  std::size_t peak = 1;
  double highest = 0.0;
  double all = 0.0;
  const auto energy_at = [&](std::size_t n) {
    const auto step = static_cast<double>(h[n] - h[n - 1]);
    return step * step;
  };
  for (std::size_t n = 1; n < h.size(); ++n) {
    const double energy = energy_at(n);
    all += energy;
    if (energy > highest) {
      highest = energy;
      peak = n;
    }
  }
  if (all <= 0.0) return {};
  const auto reach = static_cast<std::size_t>(near_s * rate_hz);
  double near = 0.0;
  for (std::size_t n = peak - std::min(reach, peak - 1); n <= std::min(peak + reach, h.size() - 1); ++n) {
    near += energy_at(n);
  }
  return near / all;
}

}  // namespace

bool times_a_wire(const Stimulus& stimulus, std::size_t sweep) {
  constexpr double dullest_hz = 2'000.0;
  return flat_band(stimulus.shapes[stimulus.sweeps[sweep].shape].band).high.value() >= dullest_hz;
}

std::optional<double> wire_arrival_ms(std::span<const float> h, std::size_t zero_index, double rate_hz, Band flat) {
  const Takes takes = combine(h, h, rate_hz, zero_index);
  const auto arrival = full_range_arrival(takes, flat);
  if (!arrival) return {};
  return (arrival->index - static_cast<double>(zero_index)) / rate_hz * 1e3;
}

std::optional<double> median_of_known(std::span<const std::optional<double>> arrivals) {
  std::vector<double> known;
  for (const auto& arrival : arrivals) {
    if (arrival) known.push_back(*arrival);
  }
  if (known.empty()) return {};
  return median(std::move(known));
}

std::optional<double> electrical_share(const Stimulus& stimulus, std::span<const float> channel,
                                       std::span<const Deconvolver> deconvolvers, double rate_hz, double start_lag_s) {
  constexpr std::size_t sweeps_looked_at = 3;
  std::vector<double> shares;
  for (std::size_t i = 0; i < stimulus.sweeps.size() && shares.size() < sweeps_looked_at; ++i) {
    if (!times_a_wire(stimulus, i)) continue;
    const Deconvolver& deconvolver = deconvolvers[stimulus.sweeps[i].shape];
    const auto h = deconvolver.response(channel, (start_s(stimulus, i) + start_lag_s) * rate_hz);
    if (const auto share = share_near_peak(h, rate_hz)) shares.push_back(*share);
  }
  if (shares.empty()) return {};
  return median(std::move(shares));
}

std::optional<double> loopback_arrival_ms(const Stimulus& stimulus, std::span<const float> loopback,
                                          std::span<const Deconvolver> deconvolvers, const Synchronisation& sync,
                                          unsigned threads) {
  std::vector<std::optional<double>> arrivals(stimulus.sweeps.size());
  parallel_for(arrivals.size(), threads, [&](std::size_t i) {
    if (!sync.whole[i] || !times_a_wire(stimulus, i)) return;
    const std::size_t shape = stimulus.sweeps[i].shape;
    const Deconvolver& deconvolver = deconvolvers[shape];
    arrivals[i] = wire_arrival_ms(deconvolver.response(loopback, sync.zero_frames[i]), deconvolver.zero_index(),
                                  sync.rate_hz, flat_band(stimulus.shapes[shape].band));
  });
  return median_of_known(arrivals);
}

std::optional<LoopbackOnOneClock> loopback_on_one_clock(const Stimulus& stimulus, std::span<const SweepPair> pairs,
                                                        std::span<const float> loopback,
                                                        std::span<const Deconvolver> deconvolvers,
                                                        const Synchronisation& nominal, unsigned threads) {
  OneClock clock{stimulus, pairs, nominal.rate_hz};
  std::vector<std::optional<double>> arrivals(2 * pairs.size());
  parallel_for(pairs.size(), threads, [&](std::size_t i) {
    if (clock.refuted()) return;
    const std::size_t shape = stimulus.sweeps[pairs[i].first].shape;
    const Deconvolver& deconvolver = deconvolvers[shape];
    const auto first = deconvolver.response(loopback, nominal.zero_frames[pairs[i].first]);
    const auto second = deconvolver.response(loopback, nominal.zero_frames[pairs[i].second]);
    clock.read(i, first, second);
    if (clock.refuted() || !times_a_wire(stimulus, pairs[i].first)) return;
    const Band flat = flat_band(stimulus.shapes[shape].band);
    arrivals[2 * i] = wire_arrival_ms(first, deconvolver.zero_index(), nominal.rate_hz, flat);
    arrivals[2 * i + 1] = wire_arrival_ms(second, deconvolver.zero_index(), nominal.rate_hz, flat);
  });
  auto timeline = clock.timeline();
  if (!timeline) return {};
  return LoopbackOnOneClock{*std::move(timeline), median_of_known(arrivals)};
}

}  // namespace ringtrue
