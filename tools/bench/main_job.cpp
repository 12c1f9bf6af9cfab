// The main job on a small rig, once: what `instructions.cmake` counts the instructions of. Its recording is made of a
// few echoes and a little noise, so that making it costs next to nothing and the same everywhere.

#include <cstdint>
#include <cstdio>
#include <string>
#include <vector>

#include "ringtrue/calibration/calibrate.hpp"
#include "ringtrue/response/measurement.hpp"
#include "ringtrue/rig/rig.hpp"
#include "ringtrue/stimulus/stimulus.hpp"

namespace ringtrue::bench {

Rig small_rig() {
  Rig rig;
  rig.layout = "custom";
  for (int output = 1; output <= 5; ++output) {
    Speaker speaker;
    speaker.label = std::string{"M"}.append(std::to_string(output));
    speaker.output = output;
    if (output == 5) {
      speaker.label = "LFE";
      speaker.kind = SpeakerKind::sub;
      speaker.band = {Hertz{20.0}, Hertz{200.0}};
    }
    rig.speakers.push_back(speaker);
  }
  return rig;
}

/// Three echoes of every sweep, and noise 60 dB down.
Recording recorded(const Stimulus& stimulus) {
  Recording recording;
  recording.name = "recording";
  recording.sample_rate_hz = stimulus.sample_rate_hz;
  recording.microphone.resize(static_cast<std::size_t>(stimulus.frames));
  for (const ScheduledSweep& sweep : stimulus.sweeps) {
    const std::vector<double>& samples = stimulus.shapes[sweep.shape].samples;
    for (int echo = 0; echo < 3; ++echo) {
      const auto at = static_cast<std::size_t>(sweep.first_frame) + 300 + 37 * sweep.speaker +
                      static_cast<std::size_t>(echo) * (411 + 13 * sweep.speaker);
      const double gain = 0.5 / (1.0 + 2.0 * echo);
      for (std::size_t n = 0; n < samples.size(); ++n) {
        recording.microphone[at + n] += static_cast<float>(gain * samples[n]);
      }
    }
  }
  std::uint32_t state = 1;  // Numerical Recipes' generator: enough to be no silence
  for (float& sample : recording.microphone) {
    state = 1'664'525U * state + 1'013'904'223U;
    sample += 1e-4F * (static_cast<float>(state >> 8) * 0x1p-23F - 1.0F);
  }
  return recording;
}

/// What is counted: on one thread, as instructions are collected on the one that enters here only.
__attribute__((noinline)) std::size_t counted_main_job(const Rig& rig, const Stimulus& stimulus,
                                                       const Recording& recording) {
  const std::vector<PositionMeasurement> positions{measure(rig, stimulus, recording, {.threads = 1})};
  CalibrateOptions options;
  options.correction.threads = 1;
  const Calibration calibration = calibrate(rig, positions, options);
  std::size_t ok = 0;
  for (const auto& speaker : calibration.speakers) ok += speaker.status == Status::ok ? 1 : 0;
  return ok;
}

}  // namespace ringtrue::bench

int main() {
  using namespace ringtrue;
  const Rig rig = bench::small_rig();
  StimulusOptions options;
  options.main_sweep = options.sub_sweep = Seconds{0.8};
  options.decay = Seconds{0.4};
  const Stimulus stimulus = plan_stimulus(rig, options);
  const std::size_t ok = bench::counted_main_job(rig, stimulus, bench::recorded(stimulus));
  std::printf("%zu of %zu speakers ok\n", ok, rig.speakers.size());
  return ok == rig.speakers.size() ? 0 : 1;
}
