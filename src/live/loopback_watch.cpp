#include "ringtrue/live/loopback_watch.hpp"

#include <algorithm>
#include <cmath>

#include "correlate.hpp"
#include "wire_fit.hpp"

namespace ringtrue {
namespace {

constexpr std::size_t blocks_looked_back = 30;
constexpr std::ptrdiff_t foreign_blocks = 6;

// Of the sweeps' power, what may be unexplained. A converter's filters, distortion beyond the fifth power, a limiter
// that works: these come again with every sweep of a shape. So the first one is judged mildly, later ones by the first.
constexpr double mild_share = 1e-3;       // -30 dB
constexpr double strictest_share = 1e-5;  // -50 dB
constexpr double over_healthy = 4.0;
constexpr double silent_share = 3e-5;  // -45 dB, where nothing plays
constexpr double over_floor = 100.0;   // 20 dB over the loopback's own noise

constexpr double longest_jump_s = 0.25;  // of a late cycle
constexpr double still_there = 0.8;      // of the sweep's power: less says that a part of it is missing
constexpr double still_there_at_first = 0.3;
constexpr double far_too_much = 2.0;     // times the sweep's power
constexpr double same_sweep = 4.0;       // in power, of a sweep that moved; anything else is no sweep of ours
constexpr double little = 0.3;           // of a sweep's power: it fades, or nothing should play
constexpr double mostly = 0.5;           // of what is heard there: a sweep that moved into the silence explains it
constexpr double nearly_all = 0.985;     // what is lost takes away from the power, what is foreign adds to it
constexpr double most_in_a_block = 1.1;  // of a change of the wire's gain: where a part is missing it seems less
constexpr double full_scale = 0.99;

double mean_square(std::span<const double> samples) {
  double sum = 0.0;
  for (const double sample : samples) sum += sample * sample;
  return samples.empty() ? 0.0 : sum / static_cast<double>(samples.size());
}

double largest(std::span<const double> samples) {
  double peak = 0.0;
  for (const double sample : samples) peak = std::max(peak, std::abs(sample));
  return peak;
}

}  // namespace

LoopbackWatch::LoopbackWatch(const Stimulus& stimulus, const LevelCheck& check)
    : stimulus_{&stimulus},
      ceiling_{std::pow(10.0, check.limit_dbfs / 20.0)},
      floor_power_{std::pow(10.0, check.loopback_noise_dbfs / 10.0)},
      lag_{check.loopback_lag.value_or(0)},
      gain_{std::abs(check.loopback_gain)} {
  for (const SweepShape& shape : stimulus.shapes) peak_ = std::max(peak_, largest(shape.samples));
}

bool LoopbackWatch::hears_another(std::uint64_t first_frame, std::span<const double> heard) {
  foreign_.push_back(judge(first_frame, heard) == Kind::foreign);
  if (foreign_.size() > blocks_looked_back) foreign_.pop_front();
  return std::ranges::count(foreign_, true) >= foreign_blocks;
}

LoopbackWatch::Kind LoopbackWatch::judge(std::uint64_t first_frame, std::span<const double> heard) {
  const std::int64_t first = static_cast<std::int64_t>(first_frame) - lag_;
  const double allowed = allowed_power(first);
  const auto played = played_at(first, heard.size());
  const WireFit fit = fit_wire(heard, played);
  if (fit.unexplained <= allowed) {
    learn(first, played.front(), fit);
    return Kind::ours;
  }
  if (gain_ * largest(played.front()) > full_scale && largest(heard) > full_scale) {
    overloaded_ = true;
    return Kind::torn;
  }
  const std::int64_t lag = likely_lag(first_frame, heard);
  const auto moved = played_at(static_cast<std::int64_t>(first_frame) - lag, heard.size());
  const WireFit there = fit_wire(heard, moved);
  const double wanted = expected_power(moved.front());
  if (there.unexplained <= allowed && there.explained() < same_sweep * wanted &&
      same_sweep * there.explained() > wanted) {
    lag_ = lag;
    return Kind::ours;
  }
  const double expected = expected_power(played.front());
  return there.unexplained < fit.unexplained ? foreign_or_torn(there, wanted, expected)
                                             : foreign_or_torn(fit, expected, expected);
}

/// @param expected  power of the sweep that explains most  @param here  and of the one that should be here
LoopbackWatch::Kind LoopbackWatch::foreign_or_torn(const WireFit& fit, double expected, double here) const {
  const double usual = 0.5 * peak_ * peak_ * gain_ * gain_;
  if (fit.heard > far_too_much * std::max(expected, usual)) return Kind::foreign;
  if (here < little * usual) return fit.explained() < mostly * fit.heard ? Kind::foreign : Kind::torn;
  const double there_at_least = gain_is_known_ ? still_there : still_there_at_first;
  const bool whole = fit.explained() >= there_at_least * expected;
  const bool more = fit.heard > nearly_all * expected + 0.5 * fit.unexplained;
  return whole && (more || !gain_is_known_) ? Kind::foreign : Kind::torn;
}

double LoopbackWatch::expected_power(std::span<const double> played) const {
  return gain_ * gain_ * mean_square(played.subspan(wire_reach, played.size() - 2 * wire_reach));
}

std::vector<std::vector<double>> LoopbackWatch::played_at(std::int64_t first_frame, std::size_t frames) const {
  const std::int64_t from = first_frame - static_cast<std::int64_t>(wire_reach);
  const std::int64_t to = first_frame + static_cast<std::int64_t>(frames + wire_reach);
  std::vector<double> sum(static_cast<std::size_t>(to - from));
  for (const ScheduledSweep& sweep : stimulus_->sweeps) {
    const auto& samples = stimulus_->shapes[sweep.shape].samples;
    const std::int64_t begin = std::max(from, sweep.first_frame);
    const std::int64_t end = std::min(to, sweep.first_frame + std::ssize(samples));
    for (std::int64_t n = begin; n < end; ++n) {
      sum[static_cast<std::size_t>(n - from)] += samples[static_cast<std::size_t>(n - sweep.first_frame)];
    }
  }
  std::vector<std::vector<double>> played{sum};
  if (largest(sum) > ceiling_) {  // overlapping sweeps on the loopback's own output
    for (double& sample : sum) sample = std::clamp(sample, -ceiling_, ceiling_);
    played.push_back(std::move(sum));
  }
  return played;
}

std::int64_t LoopbackWatch::likely_lag(std::uint64_t first_frame, std::span<const double> heard) const {
  const auto reach = static_cast<std::int64_t>(longest_jump_s * stimulus_->sample_rate_hz);
  const std::int64_t from = static_cast<std::int64_t>(first_frame) - lag_ - reach;
  const auto around = played_at(from, heard.size() + 2 * static_cast<std::size_t>(reach)).front();
  const std::vector<float> channel{around.begin() + wire_reach, around.end() - wire_reach};
  const auto correlation = correlate(channel, heard, 2 * static_cast<std::size_t>(reach));
  const auto peak = std::ranges::max_element(correlation, {}, [](double c) { return std::abs(c); });
  return lag_ + reach - (peak - correlation.begin());
}

double LoopbackWatch::allowed_power(std::int64_t first_frame) const {
  const double sweep_power = 0.5 * peak_ * peak_ * gain_ * gain_;
  const auto block = static_cast<std::int64_t>(block_s * stimulus_->sample_rate_hz);
  double share = silent_share;
  for (const ScheduledSweep& sweep : stimulus_->sweeps) {
    const std::int64_t end = sweep.first_frame + std::ssize(stimulus_->shapes[sweep.shape].samples);
    if (first_frame + block < sweep.first_frame || first_frame > end + block) continue;
    const auto healthy = whole_shape_.contains(sweep.shape) ? most_of_shape_.find(sweep.shape) : most_of_shape_.end();
    share = std::max(share, healthy == most_of_shape_.end()
                                ? mild_share
                                : std::clamp(over_healthy * healthy->second, strictest_share, mild_share));
  }
  return std::max(share * sweep_power, over_floor * floor_power_);
}

/// A block that is ours alone tells the wire's gain, and what of a sweep stays unexplained in health.
void LoopbackWatch::learn(std::int64_t first_frame, std::span<const double> played, const WireFit& fit) {
  const double power = mean_square(played);
  if (power < 0.1 * peak_ * peak_) return;
  const double gain = std::sqrt(fit.explained() / power);
  gain_ = gain_is_known_ ? std::clamp(gain, gain_ / most_in_a_block, gain_ * most_in_a_block) : gain;
  gain_is_known_ = true;
  const double share = fit.unexplained / (0.5 * peak_ * peak_ * gain_ * gain_);
  const auto block = static_cast<std::int64_t>(block_s * stimulus_->sample_rate_hz);
  for (const ScheduledSweep& sweep : stimulus_->sweeps) {
    const std::int64_t end = sweep.first_frame + std::ssize(stimulus_->shapes[sweep.shape].samples);
    if (first_frame + block < sweep.first_frame || first_frame > end) continue;
    double& most = most_of_shape_[sweep.shape];
    most = std::max(most, share);
    if (first_frame + 2 * block > end) whole_shape_[sweep.shape] = true;
  }
}

}  // namespace ringtrue
