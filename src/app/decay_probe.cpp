#include "decay_probe.hpp"

#include <algorithm>
#include <cmath>

#include "ringtrue/response/measurement.hpp"

namespace ringtrue::app {
namespace {

/// The two sweeps of the first main alone, at the rig's outputs.
Stimulus one_speaker(const Rig& rig, StimulusOptions options) {
  options.interleave = false;
  options.main_sweep = Seconds{1.2};
  options.decay = Seconds{1.2};
  Stimulus stimulus = plan_stimulus(rig, options);
  const auto order = by_output(rig);
  const auto main =
      std::ranges::find_if(order, [&](std::size_t s) { return rig.speakers[s].kind == SpeakerKind::main; });
  const std::size_t speaker = main != order.end() ? *main : order.front();
  std::erase_if(stimulus.sweeps, [&](const ScheduledSweep& sweep) { return sweep.speaker != speaker; });
  const std::int64_t tail = static_cast<std::int64_t>(options.decay.value() * stimulus.sample_rate_hz);
  auto now = static_cast<std::int64_t>(options.lead_in.value() * stimulus.sample_rate_hz);
  for (ScheduledSweep& sweep : stimulus.sweeps) {
    sweep.first_frame = now;
    now += std::ssize(stimulus.shapes[sweep.shape].samples) + tail;
  }
  stimulus.frames = now + tail / 2;
  return stimulus;
}

}  // namespace

std::optional<Seconds> probe_decay(const Rig& rig, const StimulusOptions& options,
                                   const std::function<Recording(const Stimulus&)>& take) {
  const Stimulus stimulus = one_speaker(rig, options);
  const PositionMeasurement measured = measure(rig, stimulus, take(stimulus));
  const SpeakerMeasurement& speaker = measured.speakers[stimulus.sweeps.front().speaker];
  if (!speaker.heard || !speaker.decay_time_s) return {};
  constexpr double other_octaves = 1.1;
  return Seconds{std::clamp(std::ceil(100.0 * other_octaves * *speaker.decay_time_s) / 100.0, 0.2, 3.0)};
}

}  // namespace ringtrue::app
