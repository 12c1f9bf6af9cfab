#include "decay_probe.hpp"

#include <algorithm>
#include <cmath>

#include "ringtrue/core/errors.hpp"
#include "ringtrue/response/measurement.hpp"

namespace ringtrue::app {

Stimulus decay_probe(const Rig& rig, const StimulusOptions& how) {
  StimulusOptions options = how;
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

std::optional<Seconds> probe_decay(const Rig& rig, const StimulusOptions& options,
                                   const std::function<Recording(const Stimulus&)>& take) {
  const Stimulus stimulus = decay_probe(rig, options);
  const Recording recording = take(stimulus);
  PositionMeasurement measured;
  try {
    measured = measure(rig, stimulus, recording);
  } catch (const InvalidInput&) {  // that speaker is not heard: the measurement itself will say so
    return {};
  }
  const SpeakerMeasurement& speaker = measured.speakers[stimulus.sweeps.front().speaker];
  if (!speaker.heard || !speaker.decay_time_s) return {};
  constexpr double other_octaves = 1.1;
  return Seconds{std::clamp(std::ceil(100.0 * other_octaves * *speaker.decay_time_s) / 100.0, 0.2, 3.0)};
}

}  // namespace ringtrue::app
