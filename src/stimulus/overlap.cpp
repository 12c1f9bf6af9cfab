#include "ringtrue/stimulus/overlap.hpp"

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <utility>
#include <vector>

namespace ringtrue {
namespace {

constexpr double open_end_s = 10.0;  // where nothing follows or comes before

const SweepShape& shape_of(const Stimulus& stimulus, std::size_t sweep) {
  return stimulus.shapes[stimulus.sweeps[sweep].shape];
}

double start_of(const Stimulus& stimulus, std::size_t sweep) {
  return static_cast<double>(stimulus.sweeps[sweep].first_frame) / stimulus.sample_rate_hz;
}

}  // namespace

bool is_interleaved(const Stimulus& stimulus) { return most_at_once(stimulus) > 1; }

std::size_t most_at_once(const Stimulus& stimulus) {
  std::vector<std::pair<std::int64_t, int>> edges;
  for (const ScheduledSweep& sweep : stimulus.sweeps) {
    edges.emplace_back(sweep.first_frame, 1);
    edges.emplace_back(sweep.first_frame + std::ssize(stimulus.shapes[sweep.shape].samples), -1);
  }
  std::ranges::sort(edges);  // an end comes before a start at the same frame
  int now = 0;
  int most = 0;
  for (const auto& [frame, change] : edges) most = std::max(most, now += change);
  return static_cast<std::size_t>(most);
}

RidgeDistance ridge_distance(const Stimulus& stimulus, std::size_t sweep, std::size_t other, int order) {
  const SweepShape& own = shape_of(stimulus, sweep);
  const SweepShape& foreign = shape_of(stimulus, other);
  const double k = order;
  const double low = std::max(own.band.low.value(), k * foreign.band.low.value());
  const double high = std::min(own.band.high.value(), k * foreign.band.high.value());
  if (low >= high) return {};
  const auto at = [&](double f) {
    return start_of(stimulus, other) + foreign.rate_constant.value() * std::log(f / (k * foreign.band.low.value())) -
           start_of(stimulus, sweep) - own.rate_constant.value() * std::log(f / own.band.low.value());
  };
  const double first = at(low);
  const double last = at(high);
  return {true, std::min(first, last), std::max(first, last)};
}

ClearWindow clear_window(const Stimulus& stimulus, std::size_t sweep, int harmonics) {
  double before = open_end_s;
  double after = open_end_s;
  for (std::size_t other = 0; other < stimulus.sweeps.size(); ++other) {
    if (other == sweep) continue;
    for (int order = 1; order <= harmonics; ++order) {
      const RidgeDistance distance = ridge_distance(stimulus, sweep, other, order);
      if (!distance.meet) continue;
      if (distance.most_s > 0.0) after = std::min(after, std::max(0.0, distance.least_s));
      if (distance.most_s <= 0.0 && order == 1) before = std::min(before, -distance.most_s);
    }
  }
  return {Seconds{before}, Seconds{after}};
}

}  // namespace ringtrue
