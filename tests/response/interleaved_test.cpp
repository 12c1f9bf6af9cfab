#include "ringtrue/response/interleaved.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <span>
#include <string>
#include <vector>

#include "response/simulated.hpp"
#include "rigs.hpp"
#include "ringtrue/core/errors.hpp"
#include "ringtrue/response/measurement.hpp"
#include "ringtrue/response/takes.hpp"

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

/// A subwoofer in a room whose modes die away by 60 dB in a second.
Response slow_bass() {
  Response h = test::impulse(520.0, 0.02, 60'000);
  for (const double mode_hz : {33.0, 47.0, 61.5}) {
    for (std::size_t n = 520; n < h.size(); ++n) {
      const double t = static_cast<double>(n - 520) / 48'000.0;
      h[n] += 2e-4 * std::sin(2.0 * std::numbers::pi * mode_hz * t) * std::pow(10.0, -3.0 * t);
    }
  }
  return h;
}

/// 10 lg of the mean of |H|^2 over ln f, 30 to 80 Hz, by a sum over bins of 0.18 Hz.
double level_30_80_db(const Response& h) {
  const RealFft fft{1 << 18};
  const auto bins = spectrum(fft, std::span<const double>{h});
  const double df = 48'000.0 / static_cast<double>(fft.size());
  double power = 0.0;
  double weights = 0.0;
  for (std::size_t k = 1; k < bins.size(); ++k) {
    const double f = static_cast<double>(k) * df;
    if (f < 30.0 || f > 80.0) continue;
    power += std::norm(bins[k]) / f;
    weights += 1.0 / f;
  }
  return 10.0 * std::log10(power / weights);
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

TEST_CASE("overlapping sweeps in noise are not taken for another stimulus") {
  // Six of nine speakers are heard once, with the noise in their responses.
  const Rig rig = test::simple_rig(9);
  const Stimulus stimulus = plan_stimulus(rig, FastScene::options());
  std::vector<Response> live;
  for (std::size_t i = 0; i < 9; ++i) {
    Response h = room(480.0 + 31.7 * static_cast<double>(i), 0.1, 0.3, i + 1);
    for (std::size_t n = 700; n < h.size(); ++n) h[n] *= 2.5;
    live.push_back(h);
  }
  for (const double noise : {3e-3, 6e-3, 1e-2, 1.5e-2, 2e-2, 3e-2}) {
    CAPTURE(noise);
    const auto measured = measure(rig, stimulus, test::play(stimulus, live, {noise, 1}));
    CHECK(std::ranges::count(measured.speakers, true, &SpeakerMeasurement::heard) > 0);
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

TEST_CASE("where only one of two takes goes on, it is the mean with the noise of one take") {
  // By the definition of Takes: half the difference, of one take the square root of two more, read backwards.
  for (const bool second_is_longer : {true, false}) {
    const std::vector<float> brief{1.0F, 2.0F};
    const std::vector<float> lasting{3.0F, 6.0F, 5.0F, 7.0F};
    const Takes takes = second_is_longer ? combine(brief, lasting, 48'000.0, 0) : combine(lasting, brief, 48'000.0, 0);
    const float sign = second_is_longer ? -1.0F : 1.0F;
    CHECK(takes.mean == std::vector<float>{2.0F, 4.0F, 5.0F, 7.0F});
    CHECK(takes.noise == std::vector<float>{sign, 2.0F * sign, 2.0F * sign * std::numbers::sqrt2_v<float>,
                                            sign * std::numbers::sqrt2_v<float>});
  }
}

TEST_CASE("bass that outlasts the pause between sweeps counts in a subwoofer's level, and in what it may be off") {
  FastScene scene{0.25};
  const Rig rig = test::simple_rig(5, true);
  scene.responses.push_back(slow_bass());
  const double true_db = level_30_80_db(scene.responses.back());
  for (const bool interleave : {false, true}) {
    CAPTURE(interleave);
    StimulusOptions options = FastScene::options();
    options.interleave = interleave;
    if (!interleave) options.decay = StimulusOptions{}.decay;
    const Stimulus stimulus = plan_stimulus(rig, options);
    const auto measured = measure(rig, stimulus, test::play(stimulus, scene.responses, {1e-6, 1}));
    const Estimate level_db = measured.speakers[5].level_db.value();
    CAPTURE(level_db.uncertainty);
    CHECK(std::abs(level_db.value - true_db) < 0.1);
    CHECK(std::abs(level_db.value - true_db) < 2.0 * level_db.uncertainty);
  }
}

TEST_SUITE_END();
