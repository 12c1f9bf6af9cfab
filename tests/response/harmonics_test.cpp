#include "ringtrue/response/harmonics.hpp"

#include <doctest/doctest.h>

#include <cmath>

#include "ringtrue/response/measurement.hpp"
#include "simulated.hpp"

namespace ringtrue {
namespace {

Rig two_mains() {
  Rig rig;
  rig.layout = "custom";
  rig.speakers = {{.label = "A", .output = 1}, {.label = "B", .output = 2}};
  return rig;
}

/// A recording of two speakers in a free field, the first with harmonics: Chebyshev polynomials of a sine of the
/// sweep's peak amplitude give 2nd and 3rd harmonics and nothing else.
Recording played(const Stimulus& stimulus, double second, double third, double noise_rms) {
  Stimulus bent = stimulus;
  const double P = std::pow(10.0, -18.0 / 20.0);
  const std::size_t shapes = stimulus.shapes.size();
  for (std::size_t i = 0; i < shapes; ++i) {
    SweepShape shape = stimulus.shapes[i];
    for (double& x : shape.samples) {
      const double u = x / P;
      x += P * (second * 2.0 * u * u + third * (4.0 * u * u * u - 3.0 * u));
    }
    bent.shapes.push_back(shape);
  }
  for (auto& sweep : bent.sweeps) {
    if (sweep.speaker == 0) sweep.shape += shapes;
  }
  return test::play(bent, {test::impulse(300.0, 0.5, 2'000), test::impulse(410.0, 0.4, 2'000)},
                    {.noise_rms = noise_rms});
}

}  // namespace

TEST_SUITE_BEGIN("response");

TEST_CASE("harmonics lie L ln k ahead") {
  // Source: method_checks.csv row sync_dt2: L = 1.45 s: 1.0050634118119206 s.
  CHECK(std::abs(harmonic_lead_s(Seconds{1.45}, 2) - 1.0050634118119206) < 1e-12);
}

TEST_CASE("second and third harmonic of a known non-linearity are found against frequency") {
  // 3 % and 1 % are -30.46 and -40 dB, the same at every frequency, as the responses are flat. What is taken from the
  // top of the stimulus's sample rate (aliases of the cubic) does not reach the bands that are read.
  const Rig rig = two_mains();
  const Stimulus stimulus = plan_stimulus(rig, {});
  const auto found = measure(rig, stimulus, played(stimulus, 0.03, 0.01, 1e-6));
  const auto& readings = found.speakers[0].harmonics;
  REQUIRE(readings.size() > 15);
  int second = 0;
  int third = 0;
  for (const HarmonicReading& reading : readings) {
    CAPTURE(reading.frequency_hz);
    if (reading.frequency_hz < 90.0) continue;  // the sweep's own fade-in
    if (reading.level_db[0]) {
      ++second;
      CHECK(std::abs(*reading.level_db[0] + 30.46) < 0.3);
    }
    if (reading.level_db[1] && reading.frequency_hz < 4'000.0) {
      ++third;
      CHECK(std::abs(*reading.level_db[1] + 40.0) < 0.3);
    }
  }
  CHECK(second >= 18);
  CHECK(third >= 15);
  // The other speaker is linear: whatever is read lies far below what matters (-40 dB is 1 %).
  for (const HarmonicReading& reading : found.speakers[1].harmonics) {
    CAPTURE(reading.frequency_hz);
    CHECK(reading.level_db[0].value_or(-200.0) < -70.0);
    CHECK(reading.level_db[1].value_or(-200.0) < -70.0);
  }
}

TEST_CASE("a level's uncertainty holds what the third harmonic says of compression") {
  const Band band{Hertz{500.0}, Hertz{2'000.0}};
  CHECK_FALSE(compression_uncertainty_db({}, band).has_value());
  std::vector<HarmonicReading> readings(2);
  readings[1].frequency_hz = 250.0;  // outside the band: not counted
  readings[1].level_db[1] = -20.0;
  // By hand: 3 dB over noise at -80 dB, 20 lg 1.000424 / sqrt(3); for noise at -40 dB what is supposed, 20 lg 1.0015.
  readings[0].noise_db[1] = -80.0;
  CHECK(compression_uncertainty_db(readings, band).value_or(-1.0) == doctest::Approx(0.002127).epsilon(2e-3));
  readings[0].noise_db[1] = -40.0;
  CHECK(compression_uncertainty_db(readings, band).value_or(-1.0) == doctest::Approx(0.007517).epsilon(1e-3));
  // By hand: d3 = 1 %, 20 lg 1.03 = 0.2567 dB, over the square root of three.
  readings[0].level_db[1] = -40.0;
  CHECK(compression_uncertainty_db(readings, band).value_or(-1.0) == doctest::Approx(0.1482).epsilon(1e-3));
}

TEST_CASE("harmonics below the noise have no answer, and the noise is said") {
  const Rig rig = two_mains();
  const Stimulus stimulus = plan_stimulus(rig, {});
  const auto found = measure(rig, stimulus, played(stimulus, 1e-4, 0.0, 1e-3));
  int answers = 0;
  for (const HarmonicReading& reading : found.speakers[0].harmonics) {
    if (reading.frequency_hz < 500.0 || !reading.noise_db[0]) continue;
    answers += reading.level_db[0].has_value();
    CHECK(*reading.noise_db[0] > -80.0);
    CHECK(*reading.noise_db[0] < -30.0);
  }
  CHECK(answers <= 2);  // noise alone stands 3 dB over its own estimate now and then
}

TEST_SUITE_END();

}  // namespace ringtrue
