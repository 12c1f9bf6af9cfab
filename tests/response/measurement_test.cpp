#include "ringtrue/response/measurement.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <vector>

#include "response/simulated.hpp"
#include "rigs.hpp"
#include "ringtrue/core/errors.hpp"

using namespace ringtrue;
using test::Recorder;
using test::Response;

namespace {

StimulusOptions scene_sweeps() { return test::sweeps_of(Seconds{1.2}, Seconds{0.4}); }

/// Three mains at known fractional delays and gains.
struct NoisyScene {
  Rig rig = test::simple_rig(3);
  Stimulus stimulus = plan_stimulus(rig, scene_sweeps());
  std::vector<Response> responses{test::impulse(500.0, 0.10, 1'200), test::impulse(548.4, 0.07, 1'200),
                                  test::impulse(523.1, 0.12, 1'200)};
};

double relative_arrival_ms(const PositionMeasurement& measured, std::size_t speaker) {
  return measured.speakers[speaker].arrival_ms->value - measured.speakers[0].arrival_ms->value;
}

void check_noisy_scene(const PositionMeasurement& measured, double tolerance_ms) {
  REQUIRE(measured.speakers.size() == 3);
  for (const auto& speaker : measured.speakers) REQUIRE(speaker.heard);
  CHECK(std::abs(relative_arrival_ms(measured, 1) - 48.4 / 48.0) < tolerance_ms);
  CHECK(std::abs(relative_arrival_ms(measured, 2) - 23.1 / 48.0) < tolerance_ms);
  CHECK(std::abs(measured.speakers[0].level_db->value - test::db(0.10)) < 0.02);
  CHECK(std::abs(measured.speakers[1].level_db->value - test::db(0.07)) < 0.02);
  CHECK(std::abs(measured.speakers[2].level_db->value - test::db(0.12)) < 0.02);
}

}  // namespace

TEST_SUITE_BEGIN("response");

TEST_CASE("arrivals and levels of known impulses come out, earliest at zero") {
  const NoisyScene scene;
  const auto measured = measure(scene.rig, scene.stimulus, test::play(scene.stimulus, scene.responses));
  check_noisy_scene(measured, 0.0005);
  CHECK(!measured.absolute_time);
  CHECK(std::abs(measured.speakers[0].arrival_ms->value) < 1e-9);
  CHECK(std::abs(measured.clock_ppm.value) < 0.05);
  for (const auto& speaker : measured.speakers) CHECK(speaker.sign == WooferSign::positive);
}

TEST_CASE("with a loopback the time of flight is absolute") {
  const NoisyScene scene;
  Recorder recorder;
  recorder.loopback = true;
  const auto measured = measure(scene.rig, scene.stimulus, test::play(scene.stimulus, scene.responses, recorder));
  check_noisy_scene(measured, 0.0005);
  CHECK(measured.absolute_time);
  CHECK(std::abs(measured.speakers[0].arrival_ms->value - 500.0 / 48.0) < 0.001);
}

TEST_CASE("clock drift, another rate and an early or late recorder change nothing") {
  const NoisyScene scene;
  for (const double ppm : {-200.0, 150.0}) {
    for (const double rate_hz : {44'100.0, 48'000.0, 96'000.0}) {
      for (const int late : {-20'000, 20'000}) {
        CAPTURE(ppm);
        CAPTURE(rate_hz);
        CAPTURE(late);
        Recorder recorder{1e-4, 3, ppm, rate_hz, late, false};
        const auto measured = measure(scene.rig, scene.stimulus, test::play(scene.stimulus, scene.responses, recorder));
        check_noisy_scene(measured, 0.002);
        CHECK(std::abs(measured.clock_ppm.value - ppm) < 0.5);
      }
    }
  }
}

TEST_CASE("gain, polarity and order of the speakers carry through") {
  const NoisyScene scene;
  // Gain: half the amplitude is 6.02 dB less for every speaker. Polarity: a flipped response flips only its sign.
  auto responses = scene.responses;
  for (auto& response : responses) {
    for (double& x : response) x *= 0.5;
  }
  for (double& x : responses[1]) x = -x;
  const auto before = measure(scene.rig, scene.stimulus, test::play(scene.stimulus, scene.responses));
  const auto after = measure(scene.rig, scene.stimulus, test::play(scene.stimulus, responses));
  for (std::size_t s = 0; s < 3; ++s) {
    CHECK(std::abs(after.speakers[s].level_db->value - before.speakers[s].level_db->value - test::db(0.5)) < 1e-4);
    CHECK(std::abs(after.speakers[s].arrival_ms->value - before.speakers[s].arrival_ms->value) < 1e-5);
  }
  CHECK(after.speakers[0].sign == WooferSign::positive);
  CHECK(after.speakers[1].sign == WooferSign::negative);

  // Permutation: the same responses on other outputs are measured there.
  Rig rig = scene.rig;
  std::swap(rig.speakers[0].output, rig.speakers[2].output);
  const Stimulus stimulus = plan_stimulus(rig, scene_sweeps());
  const auto permuted = measure(rig, stimulus, test::play(stimulus, scene.responses));
  for (std::size_t s = 0; s < 3; ++s) {
    CHECK(std::abs(permuted.speakers[s].arrival_ms->value - before.speakers[s].arrival_ms->value) < 1e-4);
  }
}

TEST_CASE("a silent output is silent, whatever the noise") {
  const NoisyScene scene;
  auto responses = scene.responses;
  responses[1].clear();
  for (const double noise_rms : {0.0, 1e-5, 1e-3}) {
    CAPTURE(noise_rms);
    Recorder recorder;
    recorder.noise_rms = noise_rms;
    const auto measured = measure(scene.rig, scene.stimulus, test::play(scene.stimulus, responses, recorder));
    CHECK(measured.speakers[0].heard);
    CHECK(!measured.speakers[1].heard);
    CHECK(!measured.speakers[1].arrival_ms);
    CHECK(measured.speakers[2].heard);
  }
}

TEST_CASE("one thread and many give the same bytes") {
  const NoisyScene scene;
  Recorder recorder;
  recorder.noise_rms = 1e-4;
  recorder.loopback = true;
  const Recording recording = test::play(scene.stimulus, scene.responses, recorder);
  const auto one = measure(scene.rig, scene.stimulus, recording, {1});
  const auto many = measure(scene.rig, scene.stimulus, recording, {5});
  for (std::size_t s = 0; s < 3; ++s) {
    CHECK(one.speakers[s].arrival_ms->value == many.speakers[s].arrival_ms->value);
    CHECK(one.speakers[s].level_db->value == many.speakers[s].level_db->value);
    CHECK(one.speakers[s].response.samples == many.speakers[s].response.samples);
  }
}

TEST_CASE("a recording without the sweeps is refused with its name") {
  const NoisyScene scene;
  Recording recording;
  recording.name = "lunch.wav";
  test::Noise noise{5};
  recording.microphone.resize(static_cast<std::size_t>(scene.stimulus.frames));
  for (float& x : recording.microphone) x = static_cast<float>(0.01 * noise.next());
  CHECK_THROWS_WITH_AS((void)measure(scene.rig, scene.stimulus, recording),
                       "lunch.wav: the sweeps of this stimulus are not in the recording; check that stimulus and "
                       "recording belong together and that the microphone was on",
                       InvalidInput);
}

TEST_SUITE_END();
