#include "ringtrue/response/steady_noise.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <string>
#include <vector>

#include "response/simulated.hpp"
#include "rigs.hpp"

using namespace ringtrue;

namespace {

constexpr double sound_rms = 0.05 * std::numbers::sqrt2 / 2.0;

/// Four sweeps of a steady tone with silence between, in white noise: what steady_noise looks at, without a room.
struct Take {
  Stimulus stimulus;
  Synchronisation sync;
  std::vector<float> microphone;

  explicit Take(double white_rms = 1e-5, std::uint64_t seed = 1) {
    constexpr std::size_t sweep = 48'000;
    constexpr std::size_t silence = 36'000;
    SweepShape shape;
    shape.samples.resize(sweep);
    stimulus.shapes.push_back(shape);
    std::size_t at = 24'000;
    test::Noise noise{seed};
    for (std::size_t i = 0; i < 6; ++i, at += sweep + silence) {
      stimulus.sweeps.push_back({i, 0, static_cast<std::int64_t>(at)});
      sync.zero_frames.push_back(static_cast<double>(at));
      sync.whole.push_back(true);
      microphone.resize(at + sweep + silence);
      for (std::size_t n = 0; n < sweep; ++n) {
        microphone[at + n] += static_cast<float>(0.05 * std::sin(0.7 * static_cast<double>(n)));
      }
    }
    for (float& x : microphone) x += static_cast<float>(white_rms * noise.next());
  }

  /// @param rms  of this line
  void add_line(double frequency_hz, double rms) {
    for (std::size_t n = 0; n < microphone.size(); ++n) {
      const double phase = 2.0 * std::numbers::pi * frequency_hz * static_cast<double>(n) / 48'000.0;
      microphone[n] += static_cast<float>(std::numbers::sqrt2 * rms * std::sin(phase + frequency_hz));
    }
  }

  /// White noise through a one-pole low-pass at 30 Hz, of that rms.
  void add_rumble(double rms) {
    test::Noise noise{77};
    const double a = 1.0 - std::exp(-2.0 * std::numbers::pi * 30.0 / 48'000.0);
    const double gain = rms / std::sqrt(a / (2.0 - a));  // variance of a one-pole's output: a / (2 - a)
    double y = 0.0;
    for (float& x : microphone) x += static_cast<float>(gain * (y += a * (noise.next() - y)));
  }

  [[nodiscard]] SteadyNoise found() const {
    return steady_noise(stimulus, sync, microphone, survey_samples(microphone));
  }
};

}  // namespace

TEST_CASE("white noise alone is neither hum nor rumble") {
  for (const double rms : {1e-6, 1e-4, 1e-2}) {
    for (std::uint64_t seed = 1; seed <= 5; ++seed) {
      const SteadyNoise noise = Take{rms, seed}.found();
      CHECK(noise.mains_hz == 0.0);
      CHECK(noise.rumble_db < -200.0);
    }
  }
}

TEST_CASE("hum is found with its lines and its level, of either mains frequency") {
  for (const double mains_hz : {50.0, 60.0}) {
    for (const double rms : {1e-4, 1e-3, 1e-2}) {
      Take take;
      take.add_line(mains_hz + 0.05, rms);  // mains wander by 0.1 %
      take.add_line(3.0 * (mains_hz + 0.05), 0.5 * rms);
      const SteadyNoise noise = take.found();
      CHECK(noise.mains_hz == mains_hz);
      CHECK(noise.lines_hz == std::vector<double>{mains_hz, 3.0 * mains_hz});
      const double true_rms = rms * std::sqrt(1.25);
      const double during = std::hypot(sound_rms, true_rms);
      CHECK(std::abs(noise.hum_db - test::db(true_rms / during)) < 0.3);
      CHECK(noise.rumble_db < noise.hum_db - 30.0);  // what the window leaks
    }
  }
}

TEST_CASE("rumble is found with its level, and is no hum") {
  for (const double rms : {3e-3, 3e-2}) {
    Take take;
    take.add_rumble(rms);
    const SteadyNoise noise = take.found();
    CHECK(noise.mains_hz == 0.0);
    // A one-pole's power between 10 and 100 Hz: (atan(100/30) - atan(10/30)) / (pi/2) = 0.609, -2.2 dB
    CHECK(std::abs(noise.rumble_db - (test::db(rms / std::hypot(sound_rms, rms)) - 2.2)) < 2.0);
  }
}

TEST_CASE("hum and rumble are told by how much they disturb") {
  const auto codes = [](double hum_db, double rumble_db) {
    PositionMeasurement measurement;
    add_steady_noise({50.0, {50.0, 150.0}, hum_db, rumble_db}, measurement);
    std::string all;
    for (const Finding& finding : measurement.findings)
      all += std::string{name(finding.severity)} + " " + finding.code + ";";
    return all;
  };
  CHECK(codes(-50.0, -40.0).empty());
  CHECK(codes(-30.0, -20.0) == "note hum;note rumble;");
  CHECK(codes(-10.0, 0.0) == "warn low-signal-to-noise;warn low-signal-to-noise;");
}
