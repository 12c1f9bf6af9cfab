#include "ringtrue/response/interleaved.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <string>
#include <vector>

#include "response/simulated.hpp"
#include "rigs.hpp"
#include "ringtrue/core/errors.hpp"
#include "ringtrue/response/measurement.hpp"

using namespace ringtrue;
using test::Recorder;
using test::Response;

namespace {

/// A direct sound and noise that decays by 60 dB in `decay_s` after it.
Response room(double delay_samples, double gain, double decay_s, std::uint64_t seed) {
  Response h = test::impulse(delay_samples, gain, 48'000);
  test::Noise noise{seed};
  for (std::size_t n = static_cast<std::size_t>(delay_samples) + 200; n < h.size(); ++n) {
    const double t = (static_cast<double>(n) - delay_samples) / 48'000.0;
    h[n] += 0.03 * gain * noise.next() * std::pow(10.0, -3.0 * t / decay_s);
  }
  return h;
}

/// Five mains that play at once, in a room of that decay.
struct FastScene {
  explicit FastScene(double decay_s) {
    for (std::size_t i = 0; i < delays.size(); ++i) responses.push_back(room(delays[i], gains[i], decay_s, i + 1));
  }
  static StimulusOptions options() {
    StimulusOptions options;
    options.interleave = true;
    options.decay = Seconds{0.3};
    options.main_sweep = Seconds{1.5};
    return options;
  }
  std::vector<double> delays{500.0, 548.4, 523.1, 410.7, 600.2};
  std::vector<double> gains{0.10, 0.07, 0.12, 0.09, 0.08};
  Rig rig = test::simple_rig(5);
  Stimulus stimulus = plan_stimulus(rig, options());
  std::vector<Response> responses;
};

bool found(const PositionMeasurement& measured, const std::string& code) {
  return std::ranges::any_of(measured.findings, [&](const Finding& finding) { return finding.code == code; });
}

}  // namespace

TEST_SUITE_BEGIN("response");

TEST_CASE("speakers whose sweeps overlap come out as if each had played alone") {
  const FastScene scene{0.25};
  for (const Recorder& recorder :
       {Recorder{1e-6, 1, 0.0, 48'000.0, 0, false}, Recorder{1e-6, 2, 130.0, 44'100.0, -9'000},
        Recorder{1e-6, 3, -80.0, 48'000.0, 17'000, true}}) {
    CAPTURE(recorder.ppm);
    const auto measured = measure(scene.rig, scene.stimulus, test::play(scene.stimulus, scene.responses, recorder));
    for (std::size_t i = 0; i < 5; ++i) {
      CAPTURE(i);
      REQUIRE(measured.speakers[i].heard);
      CHECK(measured.speakers[i].trusted);
      const double arrival_ms = measured.speakers[i].arrival_ms->value - measured.speakers[3].arrival_ms->value;
      CHECK(std::abs(arrival_ms - (scene.delays[i] - scene.delays[3]) / 48.0) < 0.005);
    }
    CHECK(std::abs(measured.clock_ppm.value - recorder.ppm) < 0.2);
    CHECK(found(measured, "interleaved"));
    CHECK(!found(measured, "overlapping-responses"));
  }
}

TEST_CASE("a silent speaker among overlapping sweeps is silent, whichever it is, and nobody takes its place") {
  FastScene scene{0.25};
  for (std::size_t silent = 0; silent < 5; ++silent) {
    CAPTURE(silent);
    auto responses = scene.responses;
    responses[silent].clear();
    const auto measured = measure(scene.rig, scene.stimulus, test::play(scene.stimulus, responses, {1e-6, silent}));
    for (std::size_t i = 0; i < 5; ++i) CHECK(measured.speakers[i].heard == (i != silent));
    const std::size_t other = silent == 3 ? 4 : 3;
    const std::size_t third = silent == 1 ? 2 : 1;
    const double arrival_ms = measured.speakers[third].arrival_ms->value - measured.speakers[other].arrival_ms->value;
    CHECK(std::abs(arrival_ms - (scene.delays[third] - scene.delays[other]) / 48.0) < 0.005);
  }
}

TEST_CASE("a room livelier than the sweeps were spaced for is found out") {
  const FastScene scene{0.9};
  const auto measured = measure(scene.rig, scene.stimulus, test::play(scene.stimulus, scene.responses, {1e-6, 1}));
  CHECK(found(measured, "overlapping-responses"));
}

TEST_CASE("samples lost from overlapping sweeps leave no speaker trusted") {
  const FastScene scene{0.25};
  Recording recording = test::play(scene.stimulus, scene.responses, {1e-6, 1});
  const auto middle = recording.microphone.begin() + std::ssize(recording.microphone) / 2;
  recording.microphone.erase(middle, middle + 256);
  const auto measured = measure(scene.rig, scene.stimulus, recording);
  CHECK(found(measured, "dropout"));
  CHECK(std::ranges::none_of(measured.speakers, &SpeakerMeasurement::trusted));
}

TEST_SUITE_END();
