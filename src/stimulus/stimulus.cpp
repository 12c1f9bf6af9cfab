#include "ringtrue/stimulus/stimulus.hpp"

#include <algorithm>
#include <cmath>
#include <string>

#include "ringtrue/core/errors.hpp"
#include "ringtrue/stimulus/interleave.hpp"
#include "ringtrue/stimulus/sweep.hpp"

namespace ringtrue {
namespace {

constexpr double reference_octaves_low_hz = 20.0;  // StimulusOptions::main_sweep is over 20 Hz-20 kHz
constexpr double reference_octaves_high_hz = 20'000.0;
constexpr double loudest_without_consent_dbfs = -6.0;
constexpr double early_stop_s = 0.6;  // a recorder that started 0.5 s early stops 0.5 s early too

void check(const StimulusOptions& options) {
  const auto refuse = [](const std::string& what, const std::string& remedy) {
    throw InvalidInput{"stimulus", what, remedy};
  };
  const double peak_dbfs = options.peak_level.value();
  if (!(peak_dbfs >= -80.0 && peak_dbfs <= 0.0)) refuse("a peak level outside -80 to 0 dBFS", "use -18 dBFS to start");
  if (peak_dbfs > loudest_without_consent_dbfs && !options.allow_loud) {
    refuse("a peak level above -6 dBFS can hurt ears and tweeters", "turn it down, or ask for it with --loud");
  }
  const auto in = [](double value, double low, double high) { return value >= low && value <= high; };
  if (!in(options.main_sweep.value(), 0.5, 30.0) || !in(options.sub_sweep.value(), 0.5, 30.0)) {
    refuse("a sweep length outside 0.5 to 30 s", "use 2.2 s, or more in a noisy room");
  }
  if (!in(options.decay.value(), 0.2, 10.0))
    refuse("a decay outside 0.2 to 10 s", "use 0.75 s, or more in a live room");
  if (options.harmonics < 3 || options.harmonics > 5) {
    refuse("a number of harmonics outside 3 to 5", "use 3: what loudspeakers distort at usual levels");
  }
  if (!in(options.lead_in.value(), 0.1, 10.0)) refuse("a lead-in outside 0.1 to 10 s", "use 0.5 s");
}

/// L for a speaker: all mains share one rate, so that one octave takes as long on each; a sub takes its own length.
Seconds rate_constant(const Speaker& speaker, const StimulusOptions& options) {
  if (speaker.kind == SpeakerKind::main) {
    return Seconds{options.main_sweep.value() / std::log(reference_octaves_high_hz / reference_octaves_low_hz)};
  }
  return Seconds{options.sub_sweep.value() / std::log(speaker.band.high / speaker.band.low)};
}

void check_bands(const Rig& rig) {
  for (const Speaker& speaker : rig.speakers) {
    if (speaker.band.high.value() <= 0.5 * rig.interface.sample_rate_hz) continue;
    throw InvalidInput{"speaker " + speaker.label, "its band_hz ends above half the sample rate",
                       "lower the band's upper end or raise sample_rate_hz"};
  }
}

std::size_t shape_for(const Rig& rig, const Speaker& speaker, const StimulusOptions& options, Stimulus& stimulus) {
  const Hertz sample_rate{rig.interface.sample_rate_hz};
  auto sweep = synchronised_sweep(speaker.band, rate_constant(speaker, options), amplitude_ratio(options.peak_level),
                                  sample_rate);
  const auto same = std::ranges::find_if(stimulus.shapes, [&](const SweepShape& other) {
    return other.band == sweep.band && other.rate_constant == sweep.rate_constant;
  });
  if (same != stimulus.shapes.end()) return static_cast<std::size_t>(same - stimulus.shapes.begin());
  stimulus.shapes.push_back(std::move(sweep));
  return stimulus.shapes.size() - 1;
}

/// Every speaker once in order, then once more: first the second, fourth, sixth ..., then the first, third, fifth ...
/// The spans between the two sweeps of a speaker all differ, which parts clock drift from lost samples, and the
/// speakers whose spans hold a given instant differ from instant to instant, which tells where samples were lost.
std::vector<std::size_t> playing_order(std::size_t speakers) {
  std::vector<std::size_t> order;
  for (std::size_t i = 0; i < speakers; ++i) order.push_back(i);
  for (std::size_t i = 1; i < speakers; i += 2) order.push_back(i);
  for (std::size_t i = 0; i < speakers; i += 2) order.push_back(i);
  return order;
}

}  // namespace

Stimulus plan_stimulus(const Rig& rig, const StimulusOptions& options) {
  check(options);
  check_bands(rig);
  if (options.interleave) return plan_interleaved(rig, options);
  const double fs = rig.interface.sample_rate_hz;
  const auto frames = [&](double seconds) { return static_cast<std::int64_t>(std::ceil(seconds * fs)); };
  Stimulus stimulus;
  stimulus.sample_rate_hz = fs;
  stimulus.channels = channel_count(rig);
  stimulus.decay = options.decay;
  std::vector<std::size_t> order = by_output(rig);
  std::vector<std::size_t> shapes;
  for (const std::size_t s : order) shapes.push_back(shape_for(rig, rig.speakers[s], options, stimulus));

  std::int64_t now = frames(options.lead_in.value());
  for (const std::size_t which : playing_order(order.size())) {
    stimulus.sweeps.push_back({order[which], shapes[which], now});
    now += std::ssize(stimulus.shapes[shapes[which]].samples) + frames(options.decay.value());
  }
  stimulus.frames = now + frames(early_stop_s);
  return stimulus;
}

void render(const Stimulus& stimulus, const Rig& rig, std::int64_t first_frame, std::span<float> block) {
  std::ranges::fill(block, 0.0F);
  const auto channels = static_cast<std::size_t>(stimulus.channels);
  const auto frames = static_cast<std::int64_t>(block.size() / channels);
  const auto loopback = static_cast<std::size_t>(rig.interface.loopback_output.value_or(0));
  for (const ScheduledSweep& sweep : stimulus.sweeps) {
    const std::vector<double>& samples = stimulus.shapes[sweep.shape].samples;
    const auto channel = static_cast<std::size_t>(rig.speakers[sweep.speaker].output) - 1;
    const std::int64_t begin = std::max(first_frame, sweep.first_frame);
    const std::int64_t end = std::min(first_frame + frames, sweep.first_frame + std::ssize(samples));
    for (std::int64_t n = begin; n < end; ++n) {
      const auto frame = static_cast<std::size_t>(n - first_frame);
      const auto value = static_cast<float>(samples[static_cast<std::size_t>(n - sweep.first_frame)]);
      block[frame * channels + channel] += value;
      if (loopback != 0) block[frame * channels + loopback - 1] += value;
    }
  }
}

}  // namespace ringtrue
