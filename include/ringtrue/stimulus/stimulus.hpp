#pragma once

#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

#include "ringtrue/core/units.hpp"
#include "ringtrue/rig/rig.hpp"

namespace ringtrue {

/// One sweep as it is played: every sample, fades included, full scale = 1.0.
struct SweepShape {
  std::vector<double> samples;
  Band band{Hertz{20.0}, Hertz{20'000.0}};  // first and last instantaneous frequency
  Seconds rate_constant{1.0};               // L of f(t) = f1 exp(t / L)
};

/// One sweep on the time line of the stimulus.
struct ScheduledSweep {
  std::size_t speaker = 0;       // index into Rig::speakers
  std::size_t shape = 0;         // index into Stimulus::shapes
  std::int64_t first_frame = 0;  // frame of samples[0]
};

/// The excitation as a value: a few distinct sweeps and where on which output they are played.
/// It is compact; `render` gives the samples. Each speaker is played twice, the second time in another order, so
/// that a recording shows its own clock drift, lost samples and noise (docs/stimulus.md).
struct Stimulus {
  double sample_rate_hz = 48'000.0;
  int channels = 0;         // channel k (from 1) drives output k
  std::int64_t frames = 0;  // the whole length, silence at both ends included
  Seconds decay{0.0};       // silence kept after each sweep for the room to die away
  std::vector<SweepShape> shapes;
  std::vector<ScheduledSweep> sweeps;  // in order of first_frame
};

/// When a sweep starts, in the player's seconds from the stimulus' first frame.
[[nodiscard]] inline double start_s(const Stimulus& stimulus, std::size_t sweep) {
  return static_cast<double>(stimulus.sweeps[sweep].first_frame) / stimulus.sample_rate_hz;
}

struct StimulusOptions {
  Decibels peak_level{-18.0};  // dBFS, peak
  bool allow_loud = false;     // peak levels above -6 dBFS need this
  Seconds main_sweep{2.2};     // length of a sweep over 20 Hz-20 kHz; narrower bands take less at the same rate
  Seconds sub_sweep{2.2};      // length of a sub's sweep over its own band
  Seconds decay{0.75};         // silence after each sweep; interleaved: the room's reverberation time
  Seconds lead_in{0.5};        // silence first
  bool interleave = false;     // sweeps overlap in time (interleave.hpp)
  int harmonics = 3;           // interleaved: highest order of distortion that is kept out of every window, 3 to 5
};

/// Plans the excitation for a rig: synchronised exponential sweeps, one speaker after another, then all once
/// more in another order; or interleaved. Pure.
/// @throws InvalidInput  when an option is out of range, or a speaker's band does not fit under half the sample rate
[[nodiscard]] Stimulus plan_stimulus(const Rig& rig, const StimulusOptions& options);

/// Writes frames [first_frame, first_frame + block.size() / channels) of the stimulus, interleaved.
/// `loopback_output` (from 1, 0: none) carries the sum of all others.
void render(const Stimulus& stimulus, const Rig& rig, std::int64_t first_frame, std::span<float> block);

}  // namespace ringtrue
