#include "ringtrue/live/spl.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <numbers>
#include <string>

#include "live/played.hpp"
#include "rigs.hpp"
#include "ringtrue/core/errors.hpp"

using namespace ringtrue;
using namespace ringtrue::test;

namespace {

Recording tone(double frequency_hz, double rms, double seconds, double wander = 0.0) {
  Recording recording;
  recording.name = "tone.wav";
  for (std::size_t n = 0; n < static_cast<std::size_t>(seconds * 48e3); ++n) {
    const double t = static_cast<double>(n) / 48e3;
    const double gain = 1.0 + wander * t;
    recording.microphone.push_back(
        static_cast<float>(gain * rms * std::sqrt(2.0) * std::sin(2.0 * std::numbers::pi * frequency_hz * t)));
  }
  return recording;
}

std::string refusal(const Recording& recording) {
  try {
    (void)full_scale_by_calibrator(recording, 94.0);
  } catch (const InvalidInput& error) {
    return error.what();
  }
  return {};
}

}  // namespace

TEST_CASE("a calibrator's tone tells full scale") {
  // 94 dB read as rms 0.01 (-40 dB): full scale is 134 dB. 1000 Hz nominal, 0.2 % off as a cheap one may be.
  CHECK(std::abs(full_scale_by_calibrator(tone(1'000.0, 0.01, 5.0), 94.0) - 134.0) < 0.01);
  CHECK(std::abs(full_scale_by_calibrator(tone(998.0, 0.1, 5.0), 114.0) - 134.0) < 0.01);
}

TEST_CASE("what is no calibrator's tone is refused") {
  CHECK(refusal(tone(250.0, 0.01, 5.0)).find("no clean tone of 1 kHz") != std::string::npos);
  CHECK(refusal(tone(1'000.0, 0.01, 5.0, 0.05)).find("wanders") != std::string::npos);
  CHECK(refusal(tone(1'000.0, 0.9, 5.0)).find("clipped") != std::string::npos);
  Recording noisy = tone(1'000.0, 0.001, 5.0);
  const Rig rig = simple_rig(1);
  const auto noise = played(plan_silence(rig, Seconds{5.0}), rig, 0, 0.0F, 0.01F);
  for (std::size_t n = 0; n < noisy.microphone.size(); ++n) noisy.microphone[n] += noise.microphone[n];
  CHECK(refusal(noisy).find("no clean tone") != std::string::npos);
}

TEST_CASE("a meter's reading of the noise tells full scale") {
  // In 500 Hz-2 kHz C weighting is 0 within 0.03 dB (spl_reference.csv: -0.021 dB for pink noise): C slow reads the
  // rms.
  const Rig rig = simple_rig(2);
  const Stimulus stimulus = plan_pink_noise(rig, 1, Decibels{-18.0}, Seconds{0.5}, Seconds{8.0});
  const Recording recording = played(stimulus, rig, 300, 0.2F, 1e-5F);
  double sum = 0.0;
  std::size_t count = 0;
  for (std::size_t n = 5 * 48'000; n < 8 * 48'000; ++n, ++count) {
    sum += static_cast<double>(recording.microphone[n]) * static_cast<double>(recording.microphone[n]);
  }
  const double rms_db = 10.0 * std::log10(sum / static_cast<double>(count));
  CHECK(std::abs(full_scale_by_meter(recording, 75.0, 0.5) - (75.0 - rms_db)) < 0.4);
  const Recording faint = played(stimulus, rig, 300, 0.0F, 1e-3F);
  CHECK_THROWS_AS((void)full_scale_by_meter(faint, 75.0, 0.5), InvalidInput);
}

TEST_CASE("pink noise stays inside its band and its peak") {
  const Rig rig = simple_rig(1);
  const Stimulus stimulus = plan_pink_noise(rig, 0, Decibels{-20.0}, Seconds{0.5}, Seconds{4.0});
  double peak = 0.0;
  for (const double sample : stimulus.shapes[0].samples) peak = std::max(peak, std::abs(sample));
  CHECK(std::abs(peak - 0.1) < 1e-9);
}
