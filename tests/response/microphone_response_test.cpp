#include "ringtrue/response/microphone_response.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>
#include <vector>

#include "response/simulated.hpp"
#include "rigs.hpp"
#include "ringtrue/response/deconvolution.hpp"
#include "ringtrue/response/measurement.hpp"
#include "ringtrue/stimulus/sweep.hpp"
#include "sample_rate.hpp"

using namespace ringtrue;
using std::numbers::pi;

namespace {

using ringtrue::test::rate_hz;

/// A bump of a microphone: the peaking filter of the W3C Audio EQ Cookbook.
struct Bump {
  double frequency_hz;
  double gain_db;
  double q;

  struct Coefficients {
    double b0, b1, b2, a1, a2;
  };
  [[nodiscard]] Coefficients coefficients() const {
    const double w0 = 2.0 * pi * frequency_hz / rate_hz;
    const double A = std::pow(10.0, gain_db / 40.0);
    const double alpha = std::sin(w0) / (2.0 * q);
    const double a0 = 1.0 + alpha / A;
    return {(1.0 + alpha * A) / a0, -2.0 * std::cos(w0) / a0, (1.0 - alpha * A) / a0, -2.0 * std::cos(w0) / a0,
            (1.0 - alpha / A) / a0};
  }
  [[nodiscard]] std::vector<double> filtered(const std::vector<double>& x) const {
    const auto [b0, b1, b2, a1, a2] = coefficients();
    std::vector<double> y(x.size());
    for (std::size_t n = 0; n < x.size(); ++n) {
      const auto before = [&](const std::vector<double>& v, std::size_t k) { return n >= k ? v[n - k] : 0.0; };
      y[n] = b0 * x[n] + b1 * before(x, 1) + b2 * before(x, 2) - a1 * before(y, 1) - a2 * before(y, 2);
    }
    return y;
  }
  [[nodiscard]] std::complex<double> transfer(double f) const {
    const auto [b0, b1, b2, a1, a2] = coefficients();
    const std::complex<double> z = std::polar(1.0, -2.0 * pi * f / rate_hz);
    return (b0 + b1 * z + b2 * z * z) / (1.0 + a1 * z + a2 * z * z);
  }
};

const std::vector<Bump> bumps{{120.0, 3.0, 1.0}, {1'000.0, 3.0, 1.4}, {4'000.0, -2.0, 2.0}, {11'000.0, 3.0, 1.4}};

std::complex<double> coloured_transfer(double f) {
  std::complex<double> product = 1.0;
  for (const Bump& bump : bumps) product *= bump.transfer(f);
  return product;
}

/// The curve as a data sheet would give it, 24 points an octave from 10 Hz to 20 kHz.
template <class Transfer>
MicrophoneResponse sheet_of(const Transfer& transfer, bool with_phase) {
  MicrophoneResponse sheet;
  for (double f = 10.0; f < 20'500.0; f *= std::exp2(1.0 / 24.0)) {
    const std::complex<double> h = transfer(f);
    sheet.frequencies_hz.push_back(f);
    sheet.gains_db.push_back(test::db(std::abs(h)));
    if (with_phase) sheet.phases_deg.push_back(std::arg(h) * 180.0 / pi);
  }
  return sheet;
}

/// Three mains as a flat microphone hears them.
struct MicrophoneScene {
  Rig rig = test::simple_rig(3);
  Stimulus stimulus = plan_stimulus(rig, [] {
    StimulusOptions options;
    options.main_sweep = Seconds{1.2};
    options.decay = Seconds{0.4};
    return options;
  }());
  std::vector<test::Response> flat{test::impulse(500.0, 0.10, 4'000), test::impulse(548.4, 0.07, 4'000),
                                   test::impulse(523.1, 0.12, 4'000)};

  [[nodiscard]] PositionMeasurement measured(const std::vector<test::Response>& responses,
                                             const MicrophoneResponse* microphone, bool loopback = false) const {
    test::Recorder recorder;
    recorder.loopback = loopback;
    return measure(rig, stimulus, test::play(stimulus, responses, recorder), {.threads = 1, .microphone = microphone});
  }
};

}  // namespace

TEST_SUITE_BEGIN("response");

TEST_CASE("a microphone's transfer function is straight in dB over log frequency and holds its ends") {
  const MicrophoneResponse microphone{{100.0, 1'000.0, 10'000.0}, {-6.0, 0.0, 4.0}, {}, {}};
  const auto level = [&](double f) { return test::db(std::abs(transfer_at(microphone, f))); };
  CHECK(std::abs(level(100.0) + 6.0) < 1e-12);
  CHECK(std::abs(level(std::sqrt(1e5)) + 3.0) < 1e-12);  // half of the decade on the log axis
  CHECK(std::abs(level(1'000.0 * std::pow(10.0, 0.75)) - 3.0) < 1e-12);
  for (const double below : {99.0, 1.0, 0.0}) CHECK(std::abs(level(below) + 6.0) < 1e-12);
  for (const double above : {10'000.0, 24'000.0}) CHECK(std::abs(level(above) - 4.0) < 1e-12);
  CHECK(transfer_at(microphone, 300.0).imag() == 0.0);
  CHECK(transfer_at({}, 1'000.0) == 1.0);
}

TEST_CASE("a microphone's phase takes the shorter way between two points") {
  // From 170 to -170 degrees is 20 degrees through 180, not 340 through 0.
  const MicrophoneResponse microphone{{100.0, 10'000.0}, {0.0, 0.0}, {170.0, -170.0}, {}};
  CHECK(std::abs(transfer_at(microphone, 1'000.0) - std::complex<double>{-1.0, 0.0}) < 1e-12);
  CHECK(std::abs(transfer_at(microphone, 10.0) - std::polar(1.0, 170.0 * pi / 180.0)) < 1e-12);
}

TEST_CASE("a deconvolver undoes a microphone by 40 dB at most") {
  const SweepShape sweep = synchronised_sweep({Hertz{20.0}, Hertz{22'000.0}}, Seconds{0.3}, 0.125, Hertz{rate_hz});
  const auto played = test::convolve(sweep.samples, test::impulse(480.0, 0.25, 1'500));
  const std::vector<float> recording{played.begin(), played.end()};
  const auto peak = [&](const MicrophoneResponse* microphone) {
    const Deconvolver deconvolver{sweep, rate_hz, rate_hz, {0.02, 0.1}, microphone};
    const auto h = test::in_double(deconvolver.response(recording, 0.0));
    return *std::ranges::max_element(h);
  };
  const double flat = peak(nullptr);
  for (const auto& [gain_db, left_db] :
       {std::pair{0.0, 0.0}, {6.0, -6.0}, {-40.0, 40.0}, {60.0, -40.0}, {-60.0, 40.0}}) {
    CAPTURE(gain_db);
    const MicrophoneResponse microphone{{20.0, 20'000.0}, {gain_db, gain_db}, {}, {}};
    CHECK(std::abs(test::db(peak(&microphone) / flat) - left_db) < 1e-6);
  }
}

TEST_CASE("a coloured microphone with its sheet measures what a flat one does") {
  const MicrophoneScene scene;
  auto coloured = scene.flat;
  for (auto& response : coloured) {
    for (const Bump& bump : bumps) response = bump.filtered(response);
  }
  const auto expected = scene.measured(scene.flat, nullptr);
  const auto uncorrected = scene.measured(coloured, nullptr);
  CHECK(std::abs(uncorrected.speakers[0].level_db->value - expected.speakers[0].level_db->value) > 1.0);
  for (const bool with_phase : {false, true}) {
    CAPTURE(with_phase);
    const MicrophoneResponse sheet = sheet_of(coloured_transfer, with_phase);
    const auto corrected = scene.measured(coloured, &sheet);
    for (std::size_t s = 0; s < 3; ++s) {
      CAPTURE(s);
      const SpeakerMeasurement& here = corrected.speakers[s];
      const SpeakerMeasurement& there = expected.speakers[s];
      REQUIRE(here.heard);
      // 0.02 dB: what issue 3 asks for; straight lines between 24 points an octave keep within 0.003 dB of the bumps.
      CHECK(std::abs(here.level_db->value - there.level_db->value) < 0.02);
      CHECK(std::abs(here.arrival_ms->value - there.arrival_ms->value) < 0.001);  // relative to the earliest
      CHECK(here.sign == there.sign);
      REQUIRE(here.octaves.size() == there.octaves.size());
      for (std::size_t o = 0; o < here.octaves.size(); ++o) {
        CAPTURE(here.octaves[o].centre_hz);
        CHECK(std::abs(here.octaves[o].level_db - there.octaves[o].level_db) < 0.02);
      }
    }
  }
}

TEST_CASE("the microphone's response is not taken out of the loopback") {
  // A microphone that is late by 4.8 samples = 0.1 ms, and says so. Only the microphone's arrival may move; if the
  // loopback moved too, the absolute time would keep the microphone's 0.1 ms.
  const MicrophoneScene scene;
  std::vector<test::Response> late{test::impulse(504.8, 0.10, 4'000), test::impulse(553.2, 0.07, 4'000),
                                   test::impulse(527.9, 0.12, 4'000)};
  const auto delay = [](double f) { return std::polar(1.0, -2.0 * pi * f * 1e-4); };
  const MicrophoneResponse sheet = sheet_of(delay, true);
  const auto measured = scene.measured(late, &sheet, true);
  REQUIRE(measured.absolute_time);
  CHECK(std::abs(measured.speakers[0].arrival_ms->value - 500.0 / 48.0) < 0.002);
  CHECK(std::abs(scene.measured(late, nullptr, true).speakers[0].arrival_ms->value - 504.8 / 48.0) < 0.002);
}

TEST_SUITE_END();
