#include "ringtrue/live/level_check.hpp"

#include <algorithm>
#include <cmath>

#include "correlate.hpp"
#include "ringtrue/core/statistics.hpp"
#include "ringtrue/dsp/band_filter.hpp"
#include "ringtrue/dsp/real_fft.hpp"
#include "ringtrue/stimulus/sweep.hpp"

namespace ringtrue {
namespace {

constexpr double quiet_s = 0.5;
constexpr double main_burst_s = 0.08;
constexpr double main_spacing_s = 0.1;
constexpr double sub_burst_s = 0.2;
constexpr double sub_spacing_s = 0.3;
constexpr double tail_s = 0.35;           // latency and early decay
constexpr double longest_lag_s = 0.3;     // of any interface with a usable buffer
constexpr double heard_over_noise = 7.0;  // times the rms of the correlation with noise alone
constexpr double enough_over_noise_db = 60.0;
constexpr double headroom_db = 6.0;

Band burst_band(const Speaker& speaker) {
  const bool sub = speaker.kind == SpeakerKind::sub;
  const double low = std::max(sub ? 40.0 : 500.0, speaker.band.low.value());
  const double high = std::min(sub ? 100.0 : 2'000.0, speaker.band.high.value());
  if (high >= 1.5 * low) return {Hertz{low}, Hertz{high}};
  return speaker.band;
}

double dbfs(double amplitude) { return amplitude > 1e-10 ? 20.0 * std::log10(amplitude) : -200.0; }

bool all_zero(std::span<const float> samples) {
  return std::ranges::all_of(samples, [](float sample) { return sample == 0.0F; });
}

/// All bursts of one of the plan's speakers as they were played, from its first one on, cut where the recording ends.
std::vector<double> played_on(const LevelCheckPlan& plan, std::size_t speaker, std::size_t frames) {
  std::vector<double> played(frames);
  for (const ScheduledSweep& burst : plan.stimulus.sweeps) {
    if (burst.speaker != speaker) continue;
    const auto& samples = plan.stimulus.shapes[burst.shape].samples;
    const auto first = static_cast<std::size_t>(burst.first_frame);
    for (std::size_t n = 0; n < samples.size() && first + n < frames; ++n) played[first + n] = samples[n];
  }
  return played;
}

/// The band of the bursts, cut out by a transform over the whole; soft edges, so that bursts do not ring into silence.
std::vector<float> in_band(std::span<const float> signal, Band band, double rate_hz) {
  constexpr double edge_octaves = 0.4;
  const RealFft fft{good_fft_size(signal.size() + static_cast<std::size_t>(0.1 * rate_hz))};
  const auto filtered = tapered_band(fft, spectrum(fft, signal), band, edge_octaves, edge_octaves, Hertz{rate_hz});
  return {filtered.begin(), filtered.begin() + std::ssize(signal)};
}

struct Found {
  std::int64_t lag = 0;
};

/// Where the played bursts are found in a channel's band, if they stand out of what it holds in silence.
std::optional<Found> find_bursts(std::span<const float> channel, std::span<const double> played,
                                 std::size_t quiet_frames, Band band, double rate_hz) {
  double energy = 0.0;
  for (const double sample : played) energy += sample * sample;
  if (energy == 0.0) return {};
  const auto longest = static_cast<std::size_t>(longest_lag_s * rate_hz);
  const std::vector<double> correlation = correlate(channel, played, longest);
  const auto peak = std::ranges::max_element(correlation, {}, [](double c) { return std::abs(c); });
  // Noise of a flat spectrum within the band correlates with the rms value sqrt(energy density / 2).
  const double width_hz = band.high.value() - band.low.value();
  const double noise =
      rms(channel.first(std::min(quiet_frames, channel.size()))) * std::sqrt(energy * 0.5 * rate_hz / width_hz);
  if (std::abs(*peak) <= std::max(heard_over_noise * noise, 1e-12)) return {};
  return Found{peak - correlation.begin()};
}

/// How much of what was played a channel holds at a lag, over its whole band.
double gain_at(std::span<const float> channel, std::span<const double> played, std::int64_t lag) {
  double energy = 0.0;
  double product = 0.0;
  for (std::size_t n = 0; n + static_cast<std::size_t>(lag) < channel.size() && n < played.size(); ++n) {
    energy += played[n] * played[n];
    product += played[n] * static_cast<double>(channel[n + static_cast<std::size_t>(lag)]);
  }
  return energy > 0.0 ? product / energy : 0.0;
}

/// Rms of the microphone during a speaker's loudest burst that is in the recording, over that burst's peak, dB.
double heard_level_db(const LevelCheckPlan& plan, std::size_t speaker, std::span<const float> microphone,
                      std::int64_t lag, double noise_rms) {
  double result = -200.0;
  for (std::size_t i = 0; i < plan.stimulus.sweeps.size(); ++i) {
    const ScheduledSweep& burst = plan.stimulus.sweeps[i];
    if (burst.speaker != speaker) continue;
    const auto length = plan.stimulus.shapes[burst.shape].samples.size();
    const auto from = static_cast<std::size_t>(burst.first_frame + lag);
    if (from + length > microphone.size()) break;
    const double level = rms(microphone.subspan(from, length));
    const double signal = std::sqrt(std::max(0.0, level * level - noise_rms * noise_rms));
    const std::size_t step = i / plan.speakers.size();
    result = dbfs(signal) - plan.peaks_dbfs[step];
  }
  return result;
}

/// How much the gain from output to microphone differs between the steps of one speaker, where noise has no say.
double gain_spread_db(const LevelCheckPlan& plan, std::size_t speaker, std::span<const float> microphone,
                      std::int64_t lag, double noise_rms, double rate_hz) {
  constexpr double well_over_noise = 100.0;
  double lowest = 1e9;
  double highest = -1e9;
  for (const ScheduledSweep& burst : plan.stimulus.sweeps) {
    const SweepShape& shape = plan.stimulus.shapes[burst.shape];
    const auto from = static_cast<std::size_t>(burst.first_frame + lag);
    if (burst.speaker != speaker || from + shape.samples.size() > microphone.size()) continue;
    double energy = 0.0;
    double product = 0.0;
    for (std::size_t n = 0; n < shape.samples.size(); ++n) {
      energy += shape.samples[n] * shape.samples[n];
      product += shape.samples[n] * static_cast<double>(microphone[from + n]);
    }
    const double width_hz = shape.band.high.value() - shape.band.low.value();
    if (std::abs(product) < well_over_noise * noise_rms * std::sqrt(energy * 0.5 * rate_hz / width_hz)) continue;
    lowest = std::min(lowest, dbfs(std::abs(product) / energy));
    highest = std::max(highest, dbfs(std::abs(product) / energy));
  }
  return std::max(0.0, highest - lowest);
}

/// How far two stretches differ when one is scaled to the other, dB: 1 - correlation^2.
double difference_db(std::span<const float> one, std::span<const float> other) {
  double one_energy = 0.0;
  double other_energy = 0.0;
  double product = 0.0;
  for (std::size_t n = 0; n < one.size(); ++n) {
    const auto x = static_cast<double>(one[n]);
    const auto y = static_cast<double>(other[n]);
    one_energy += x * x;
    other_energy += y * y;
    product += x * y;
  }
  if (!(one_energy * other_energy > 0.0)) return -200.0;
  return 10.0 * std::log10(std::max(1e-20, 1.0 - product * product / (one_energy * other_energy)));
}

/// The largest difference in shape between a speaker's bursts and the one before, of those that stand well over noise.
/// The very first burst alone has no other burst's tail under it: it is left out.
double unlike_db(const LevelCheckPlan& plan, std::size_t speaker, std::span<const float> microphone, std::int64_t lag,
                 double noise_rms) {
  constexpr double well_over_noise = 15.0;  // times: the noise alone then differs by less than -20 dB
  double result = -200.0;
  std::span<const float> before;
  for (const ScheduledSweep& burst : plan.stimulus.sweeps) {
    const auto length = plan.stimulus.shapes[burst.shape].samples.size();
    const auto from = static_cast<std::size_t>(burst.first_frame + lag);
    if (burst.speaker != speaker || from + length > microphone.size()) continue;
    const auto heard = microphone.subspan(from, length);
    if (&burst == &plan.stimulus.sweeps.front() || rms(heard) < well_over_noise * noise_rms) continue;
    if (before.size() == length) result = std::max(result, difference_db(before, heard));
    before = heard;
  }
  return result;
}

}  // namespace

LevelCheckPlan plan_level_check(const Rig& rig, std::vector<std::size_t> speakers, Decibels limit) {
  LevelCheckPlan plan;
  plan.speakers = std::move(speakers);
  Stimulus& stimulus = plan.stimulus;
  const Hertz rate{rig.interface.sample_rate_hz};
  const auto frames = [&](double seconds) { return static_cast<std::int64_t>(std::ceil(seconds * rate.value())); };
  stimulus.sample_rate_hz = rate.value();
  stimulus.channels = channel_count(rig);
  plan.quiet_frames = frames(quiet_s);
  std::int64_t now = plan.quiet_frames;
  for (std::size_t step = 0; step < LevelCheckPlan::steps; ++step) {
    plan.peaks_dbfs[step] =
        limit.value() - LevelCheckPlan::step_db * static_cast<double>(LevelCheckPlan::steps - 1 - step);
    for (std::size_t turn = 0; turn < plan.speakers.size(); ++turn) {
      const Speaker& speaker = rig.speakers[plan.speakers[turn]];
      const bool sub = speaker.kind == SpeakerKind::sub;
      const Band band = burst_band(speaker);
      const Seconds constant{(sub ? sub_burst_s : main_burst_s) / std::log(band.high / band.low)};
      SweepShape shape = synchronised_sweep(band, constant, amplitude_ratio(Decibels{plan.peaks_dbfs[step]}), rate);
      if (turn == 1) std::ranges::reverse(shape.samples);  // unlike the other speaker's, so that both are told apart
      stimulus.shapes.push_back(std::move(shape));
      stimulus.sweeps.push_back({plan.speakers[turn], stimulus.shapes.size() - 1, now});
      now += frames(sub ? sub_spacing_s : main_spacing_s);
    }
  }
  stimulus.frames = now + frames(tail_s);
  return plan;
}

LevelCheck judge_level_check(const LevelCheckPlan& plan, const Recording& recording) {
  LevelCheck check;
  check.limit_dbfs = plan.peaks_dbfs.back();
  const double rate_hz = recording.sample_rate_hz;
  constexpr double surely_quiet = 0.9;  // of the silence: a filter hears the first burst a little early
  const auto quiet = std::min<std::size_t>(
      static_cast<std::size_t>(surely_quiet * static_cast<double>(plan.quiet_frames)), recording.microphone.size());
  const std::span<const float> microphone{recording.microphone};
  check.microphone_exact_zero = all_zero(microphone);
  check.microphone_quiet_zero = all_zero(microphone.first(quiet));
  check.loopback_exact_zero = !recording.loopback.empty() && all_zero(recording.loopback);
  check.heard.assign(plan.speakers.size(), false);
  if (microphone.empty()) return check;
  float peak = 0.0F;
  for (const float sample : microphone) peak = std::max(peak, std::abs(sample));
  check.peak_dbfs = dbfs(static_cast<double>(peak));

  const Band band = plan.stimulus.shapes.front().band;
  const std::vector<float> filtered = in_band(microphone, band, rate_hz);
  const double noise = rms(std::span{filtered}.first(quiet));
  check.noise_dbfs = dbfs(noise);
  std::vector<float> wire;
  if (!recording.loopback.empty()) {
    check.loopback_noise_dbfs = dbfs(rms(std::span{recording.loopback}.first(quiet)));
    wire = in_band(recording.loopback, band, rate_hz);
  }
  for (std::size_t i = 0; i < plan.speakers.size(); ++i) {
    const std::vector<double> played = played_on(plan, plan.speakers[i], microphone.size());
    const auto looped = wire.empty() ? std::nullopt : find_bursts(wire, played, quiet, band, rate_hz);
    if (looped) {
      check.loopback_lag = looped->lag;
      check.loopback_gain = gain_at(recording.loopback, played, looped->lag);
    }
    const auto found = find_bursts(filtered, played, quiet, band, rate_hz);
    if (!found) continue;
    check.heard[i] = true;
    const double level = heard_level_db(plan, plan.speakers[i], filtered, found->lag, noise);
    check.heard_db = std::min(check.heard_db.value_or(level), level);
    check.loudest_heard_db = std::max(check.loudest_heard_db.value_or(level), level);
    check.unlike_db = std::max(check.unlike_db, unlike_db(plan, plan.speakers[i], filtered, found->lag, noise));
    const double spread = gain_spread_db(plan, plan.speakers[i], filtered, found->lag, noise, rate_hz);
    check.linearity_db = std::max(check.linearity_db, spread);
  }
  for (std::size_t i = 0; i < plan.stimulus.sweeps.size(); ++i) {
    if (plan.stimulus.sweeps[i].first_frame < std::ssize(microphone)) check.loudest_step = i / plan.speakers.size();
  }
  return check;
}

std::optional<Decibels> level_for_sweeps(const LevelCheckPlan& plan, const LevelCheck& check) {
  double level = plan.peaks_dbfs.back();
  if (check.heard_db) {
    for (const double step : plan.peaks_dbfs) {
      if (*check.heard_db + step < check.noise_dbfs + enough_over_noise_db) continue;
      level = step;
      break;
    }
  }
  const double over = check.peak_dbfs + (level - plan.peaks_dbfs[check.loudest_step]) + headroom_db;
  if (over > 0.0) level -= LevelCheckPlan::step_db * std::ceil(over / LevelCheckPlan::step_db);
  if (level < plan.peaks_dbfs.front() - LevelCheckPlan::step_db) return {};
  return Decibels{level};
}

}  // namespace ringtrue
