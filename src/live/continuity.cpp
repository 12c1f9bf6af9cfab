#include "ringtrue/live/continuity.hpp"

#include <algorithm>
#include <cmath>
#include <map>
#include <set>

#include "correlate.hpp"
#include "ringtrue/core/statistics.hpp"

namespace ringtrue {
namespace {

constexpr double earliest_s = 0.1;  // before the nominal time a sweep is looked for
constexpr double latest_s = 0.5;    // and after it
constexpr double block_s = 0.1;
constexpr double whole_residual = 1e-6;    // in energy: -60 dB
constexpr double loosest_residual = 1e-3;  // -30 dB
constexpr double over_usual = 8.0;
constexpr double faint_block = 0.01;    // of the mean block's energy: fades, where only noise would be compared
constexpr double like_the_sweep = 0.5;  // correlation of a whole sweep with what was played; a wire has 1
constexpr double clock_ppm = 1.0;       // slope that is a clock's
constexpr double straight_frames = 1.5;

std::int64_t frames_of(double seconds, const Stimulus& stimulus) {
  return static_cast<std::int64_t>(std::llround(seconds * stimulus.sample_rate_hz));
}

/// Samples [first, first + size) of a channel; silence outside.
std::vector<float> cut(std::span<const float> channel, std::int64_t first, std::size_t size) {
  std::vector<float> result(size);
  for (std::size_t n = 0; n < size; ++n) {
    const std::int64_t at = first + static_cast<std::int64_t>(n);
    if (at >= 0 && at < std::ssize(channel)) result[n] = channel[static_cast<std::size_t>(at)];
  }
  return result;
}

double energy_of(std::span<const float> samples) {
  const double rms = ringtrue::rms(samples);
  return rms * rms * static_cast<double>(samples.size());
}

struct SweepFound {
  std::int64_t lag = 0;
  double gain = 0.0;
  double likeness = 0.0;
  std::vector<float> sound;  // of the sweep's length, from its own lag on
};

SweepFound find_sweep(const Stimulus& stimulus, const ScheduledSweep& sweep, std::span<const float> loopback) {
  const std::vector<double>& played = stimulus.shapes[sweep.shape].samples;
  const std::int64_t early = frames_of(earliest_s, stimulus);
  const auto longest = static_cast<std::size_t>(early + frames_of(latest_s, stimulus));
  const std::vector<float> around = cut(loopback, sweep.first_frame - early, played.size() + longest);
  const std::vector<double> correlation = correlate(around, played, longest);
  const auto peak = std::ranges::max_element(correlation, {}, [](double c) { return std::abs(c); });
  const std::int64_t at = peak - correlation.begin();
  double energy = 0.0;
  for (const double sample : played) energy += sample * sample;
  SweepFound found{at - early, *peak / energy, 0.0, {}};
  found.sound.assign(around.begin() + at, around.begin() + at + std::ssize(played));
  const double heard = energy_of(found.sound);
  if (heard > 0.0) found.likeness = std::abs(*peak) / std::sqrt(energy * heard);
  return found;
}

/// Energy of the difference of two sweeps of one shape in each block, over the block's own energy.
std::vector<double> residuals(std::span<const float> a, std::span<const float> b, std::size_t block) {
  const double mean = energy_of(b) / std::max(1.0, static_cast<double>(b.size()) / static_cast<double>(block));
  std::vector<double> result;
  for (std::size_t first = 0; first < a.size(); first += block) {
    const std::size_t size = std::min(block, a.size() - first);
    double difference = 0.0;
    for (std::size_t n = first; n < first + size; ++n) {
      const double d = static_cast<double>(a[n]) - static_cast<double>(b[n]);
      difference += d * d;
    }
    const double energy = std::max(energy_of(b.subspan(first, size)), faint_block * mean);
    result.push_back(energy > 0.0 ? difference / energy : 1.0);
  }
  return result;
}

/// For each sweep and block, what it differs by from the fellow it is most like.
std::vector<std::vector<double>> best_residuals(const Stimulus& stimulus, const std::vector<SweepFound>& found) {
  const auto block = static_cast<std::size_t>(frames_of(block_s, stimulus));
  std::vector<std::vector<double>> best(found.size());
  for (std::size_t i = 0; i < found.size(); ++i) {
    best[i].assign((found[i].sound.size() + block - 1) / block, 1.0);
    for (std::size_t j = 0; j < found.size(); ++j) {
      if (i == j || stimulus.sweeps[i].shape != stimulus.sweeps[j].shape) continue;
      const auto against = residuals(found[i].sound, found[j].sound, block);
      for (std::size_t b = 0; b < best[i].size(); ++b) best[i][b] = std::min(best[i][b], against[b]);
    }
  }
  return best;
}

/// The lag that most sweeps have.
std::int64_t most_common(const std::vector<std::int64_t>& lags) {
  std::map<std::int64_t, std::size_t> votes;
  for (const std::int64_t lag : lags) ++votes[lag];
  return std::ranges::max_element(votes, {}, [](const auto& vote) { return vote.second; })->first;
}

/// Slope of the lags over time if they lie on a straight line that is not level, ppm; else 0.
double steady_drift_ppm(const Stimulus& stimulus, const std::vector<std::int64_t>& lags) {
  const auto n = static_cast<double>(lags.size());
  constexpr std::size_t least_steps = 3;  // one jump makes two lags, a clock makes many
  if (std::set<std::int64_t>(lags.begin(), lags.end()).size() < least_steps) return 0.0;
  double t_sum = 0.0;
  double l_sum = 0.0;
  for (std::size_t i = 0; i < lags.size(); ++i) {
    t_sum += static_cast<double>(stimulus.sweeps[i].first_frame);
    l_sum += static_cast<double>(lags[i]);
  }
  double tt = 0.0;
  double tl = 0.0;
  for (std::size_t i = 0; i < lags.size(); ++i) {
    const double t = static_cast<double>(stimulus.sweeps[i].first_frame) - t_sum / n;
    tt += t * t;
    tl += t * (static_cast<double>(lags[i]) - l_sum / n);
  }
  const double slope = tt > 0.0 ? tl / tt : 0.0;
  for (std::size_t i = 0; i < lags.size(); ++i) {
    const double line = l_sum / n + slope * (static_cast<double>(stimulus.sweeps[i].first_frame) - t_sum / n);
    if (std::abs(static_cast<double>(lags[i]) - line) > straight_frames) return 0.0;
  }
  return std::abs(slope * 1e6) > clock_ppm ? slope * 1e6 : 0.0;
}

/// Where the lag of two whole sweeps in a row differs, the jump lies in the decay of the first.
void spoil_before_jumps(Continuity& result) {
  const std::vector<bool> torn = result.spoiled;
  for (std::size_t i = 0; i + 1 < torn.size(); ++i) {
    if (!torn[i] && !torn[i + 1] && result.lags[i] != result.lags[i + 1]) result.spoiled[i] = true;
  }
}

double gain_spread_db(const Stimulus& stimulus, const std::vector<SweepFound>& found,
                      const std::vector<bool>& spoiled) {
  double widest = 0.0;
  for (std::size_t i = 0; i < found.size(); ++i) {
    for (std::size_t j = 0; j < i; ++j) {
      if (spoiled[i] || spoiled[j] || stimulus.sweeps[i].shape != stimulus.sweeps[j].shape) continue;
      if (found[i].gain == 0.0 || found[j].gain == 0.0) continue;
      widest = std::max(widest, std::abs(20.0 * std::log10(std::abs(found[i].gain / found[j].gain))));
    }
  }
  return widest;
}

/// Where the stretch that belongs to a sweep begins: a little before it, in the silence.
std::int64_t slot_start(const Stimulus& stimulus, std::size_t sweep) {
  const std::int64_t before = frames_of(std::min(0.06, 0.25 * stimulus.decay.value()), stimulus);
  return sweep == 0 ? 0 : stimulus.sweeps[sweep].first_frame - before;
}

void copy_slot(std::span<const float> from, std::int64_t source, std::span<float> to, std::int64_t first,
               std::int64_t end) {
  for (std::int64_t n = first; n < end; ++n) {
    const std::int64_t at = source + (n - first);
    if (n < 0 || n >= std::ssize(to) || at < 0 || at >= std::ssize(from)) continue;
    to[static_cast<std::size_t>(n)] = from[static_cast<std::size_t>(at)];
  }
}

std::int64_t slot_end(const Stimulus& stimulus, std::size_t sweep) {
  return sweep + 1 < stimulus.sweeps.size() ? slot_start(stimulus, sweep + 1) : stimulus.frames;
}

}  // namespace

Continuity judge_continuity(const Stimulus& stimulus, std::span<const float> loopback) {
  Continuity result;
  std::vector<SweepFound> found;
  for (const ScheduledSweep& sweep : stimulus.sweeps) found.push_back(find_sweep(stimulus, sweep, loopback));
  std::size_t like = 0;
  for (const SweepFound& sweep : found) {
    result.lags.push_back(sweep.lag);
    like += sweep.likeness > like_the_sweep;
  }
  result.spoiled.assign(found.size(), false);
  result.usual_lag = most_common(result.lags);
  if (2 * like < found.size()) {
    result.verdict = Continuity::Verdict::unheard;
    return result;
  }
  result.drift_ppm = steady_drift_ppm(stimulus, result.lags);
  const auto best = best_residuals(stimulus, found);
  std::vector<double> all;
  for (const auto& blocks : best) all.insert(all.end(), blocks.begin(), blocks.end());
  const double usual = median(all);
  result.residual_db = 10.0 * std::log10(std::max(usual, 1e-20));
  const double limit = std::clamp(over_usual * usual, whole_residual, loosest_residual);
  for (std::size_t i = 0; i < found.size(); ++i) {
    result.spoiled[i] = std::ranges::any_of(best[i], [limit](double residual) { return residual > limit; });
  }
  spoil_before_jumps(result);
  result.gain_spread_db = gain_spread_db(stimulus, found, result.spoiled);
  const auto spoiled = static_cast<std::size_t>(std::ranges::count(result.spoiled, true));
  if (result.drift_ppm != 0.0) {
    result.verdict = Continuity::Verdict::two_clocks;
  } else if (usual > loosest_residual) {
    result.verdict = Continuity::Verdict::unusable;
  } else if (spoiled > 0) {
    result.verdict = Continuity::Verdict::spoiled;
  }
  return result;
}

Recording put_in_step(const Stimulus& stimulus, const Recording& recording, std::span<const std::int64_t> lags,
                      std::int64_t usual_lag) {
  Recording result = recording;
  const auto move = [&](const std::vector<float>& from, std::vector<float>& to) {
    for (std::size_t i = 0; i < lags.size(); ++i) {
      if (lags[i] == usual_lag) continue;
      const std::int64_t first = slot_start(stimulus, i);
      copy_slot(from, first + lags[i], to, first + usual_lag, slot_end(stimulus, i) + usual_lag);
    }
  };
  move(recording.microphone, result.microphone);
  if (!recording.loopback.empty()) move(recording.loopback, result.loopback);
  return result;
}

Stimulus stimulus_of(const Stimulus& whole, std::span<const std::size_t> chosen) {
  Stimulus part = whole;
  part.sweeps.clear();
  std::int64_t now = whole.sweeps.front().first_frame;
  for (const std::size_t i : chosen) {
    const std::int64_t length = slot_end(whole, i) - slot_start(whole, i);
    part.sweeps.push_back({whole.sweeps[i].speaker, whole.sweeps[i].shape, now});
    now += std::max(length, std::ssize(whole.shapes[whole.sweeps[i].shape].samples));
  }
  const std::int64_t last_end =
      whole.sweeps.back().first_frame + std::ssize(whole.shapes[whole.sweeps.back().shape].samples);
  part.frames = now + (whole.frames - last_end);
  return part;
}

void splice(const Stimulus& whole, std::span<const std::size_t> chosen, const Stimulus& part, const Recording& again,
            std::span<const std::int64_t> lags, std::int64_t usual_lag, Recording& recording) {
  for (std::size_t k = 0; k < chosen.size(); ++k) {
    const std::size_t i = chosen[k];
    const std::int64_t first = slot_start(whole, i);
    const std::int64_t source = part.sweeps[k].first_frame - (whole.sweeps[i].first_frame - first) + lags[k];
    const std::int64_t end = slot_end(whole, i) + usual_lag;
    copy_slot(again.microphone, source, recording.microphone, first + usual_lag, end);
    if (!recording.loopback.empty()) copy_slot(again.loopback, source, recording.loopback, first + usual_lag, end);
  }
}

std::optional<std::int64_t> lag_between(const Stimulus& stimulus, std::size_t sweep, const Recording& recording,
                                        const Stimulus& other_stimulus, std::size_t other_sweep,
                                        const Recording& other) {
  const ScheduledSweep& scheduled = stimulus.sweeps[sweep];
  const std::size_t size = stimulus.shapes[scheduled.shape].samples.size();
  const std::int64_t reach = frames_of(latest_s, stimulus);
  const auto longest = static_cast<std::size_t>(2 * reach);
  const std::vector<float> around = cut(recording.microphone, scheduled.first_frame - reach, size + longest);
  const std::vector<float> there = cut(other.microphone, other_stimulus.sweeps[other_sweep].first_frame, size);
  const std::vector<double> wanted{there.begin(), there.end()};
  const std::vector<double> correlation = correlate(around, wanted, longest);
  const auto peak = std::ranges::max_element(correlation, {}, [](double c) { return std::abs(c); });
  const std::int64_t at = peak - correlation.begin();
  const double here = energy_of(std::span{around}.subspan(static_cast<std::size_t>(at), size));
  const double likeness = here > 0.0 ? *peak / std::sqrt(here * energy_of(there)) : 0.0;
  constexpr double alike = 0.8;
  if (!(likeness > alike)) return {};
  return at - reach;
}

}  // namespace ringtrue
