#include "ringtrue/response/recording_checks.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <numbers>
#include <vector>

#include "response/damage.hpp"
#include "response/simulated.hpp"
#include "ringtrue/stimulus/sweep.hpp"
#include "sample_rate.hpp"

using namespace ringtrue;

namespace {

using ringtrue::test::rate_hz;
constexpr double bit = 1.0 / 32'768.0;

std::vector<float> sine(double frequency_hz, double amplitude, std::size_t frames = 48'000) {
  std::vector<float> x(frames);
  for (std::size_t n = 0; n < frames; ++n) {
    x[n] = static_cast<float>(amplitude *
                              std::sin(2.0 * std::numbers::pi * frequency_hz * static_cast<double>(n) / rate_hz));
  }
  return x;
}

std::vector<float> noise(double rms, std::uint64_t seed, std::size_t frames = 48'000) {
  test::Noise source{seed};
  std::vector<float> x(frames);
  for (float& sample : x) sample = static_cast<float>(rms * source.next());
  return x;
}

/// A room mode that a blow has set ringing: 60 dB in T seconds.
std::vector<float> resonance(double frequency_hz, double T_s, double amplitude) {
  auto x = sine(frequency_hz, amplitude);
  for (std::size_t n = 0; n < x.size(); ++n) {
    x[n] *= static_cast<float>(std::exp(-3.0 * std::numbers::ln10 * static_cast<double>(n) / rate_hz / T_s));
  }
  return x;
}

/// A sweep in digital silence, through a room mode.
std::vector<float> noise_free_recording(double peak) {
  const auto sweep = synchronised_sweep({Hertz{20.0}, Hertz{20'000.0}}, Seconds{0.2}, 1.0, Hertz{rate_hz});
  const auto mode = resonance(45.0, 0.4, 0.02);
  auto h = test::impulse(500.0, 1.0, 24'000);
  for (std::size_t n = 0; n < h.size(); ++n) h[n] += static_cast<double>(mode[n]);
  const auto heard = test::convolve(sweep.samples, h);
  double highest = 0.0;
  for (const double x : heard) highest = std::max(highest, std::abs(x));
  std::vector<float> recording(2'000);
  for (const double x : heard) recording.push_back(static_cast<float>(peak / highest * x));
  recording.resize(recording.size() + 5'000);
  return recording;
}

std::vector<float> clipped(std::vector<float> x, double low, double high) {
  for (float& sample : x) sample = std::clamp(sample, static_cast<float>(low), static_cast<float>(high));
  return x;
}

std::vector<float> in_16_bits(std::vector<float> x) {
  test::to_16_bits(x);
  return x;
}

/// Every signal that a healthy recording may hold.
std::vector<std::vector<float>> healthy_signals() {
  std::vector<std::vector<float>> signals;
  for (const double f : {25.0, 50.0, 440.0, 997.0, 7'919.0}) signals.push_back(sine(f, 0.7));
  for (const double f : {20.0, 30.0, 45.0, 63.0}) {
    for (const double T : {0.3, 1.0, 3.0}) signals.push_back(resonance(f, T, 0.5));
  }
  for (const double rms : {0.2, 0.3, 0.5, 1.0, 2.0, 5.0}) signals.push_back(in_16_bits(noise(rms * bit, 11)));
  signals.push_back(noise(1e-6, 3));
  for (const double peak : {0.9, 0.1, 0.01, 0.001, 20.0 * bit, 5.0 * bit}) {
    signals.push_back(noise_free_recording(peak));
    signals.push_back(in_16_bits(noise_free_recording(peak)));
    auto with_noise = noise_free_recording(peak);
    const auto hiss = noise(0.3 * bit, 5, with_noise.size());
    for (std::size_t n = 0; n < hiss.size(); ++n) with_noise[n] += hiss[n];
    signals.push_back(in_16_bits(with_noise));
  }
  signals.emplace_back(48'000);
  return signals;
}

}  // namespace

TEST_SUITE_BEGIN("response");

TEST_CASE("healthy signals are neither clipped nor broken off") {
  const auto signals = healthy_signals();
  for (std::size_t i = 0; i < signals.size(); ++i) {
    CAPTURE(i);
    CHECK(clipped_frames(signals[i]).empty());
    CHECK(dropped_stretches(signals[i]).empty());
  }
}

TEST_CASE("bass that touches zero is not broken off") {
  // By hand: 1000 steps of 16 bits at 28 Hz leave zero as t^2 / 147 steps, 17 zeros with one step in seven beside them.
  auto x = sine(28.0, 1.0);
  for (std::size_t n = 0; n < x.size(); ++n) {
    const double phase = 2.0 * std::numbers::pi * 28.0 * static_cast<double>(n) / rate_hz;
    x[n] = static_cast<float>(std::round(1'000.0 * (1.0 - std::cos(phase))) * bit);
  }
  CHECK(dropped_stretches(x).empty());
}

TEST_CASE("quiet sweeps in 16 bits do not repeat themselves") {
  for (const double steps : {8.0, 20.0, 100.0, 3'000.0}) {
    CAPTURE(steps);
    auto x = noise_free_recording(steps * bit);
    for (float& sample : x) sample = static_cast<float>(std::round(static_cast<double>(sample) / bit) * bit);
    CHECK_FALSE(repeated_stretch(x, {0, x.size()}, 60).has_value());
  }
}

TEST_CASE("a clipped sine is counted to the frame") {
  // Closed form: a sine of amplitude 1 lies above c for acos(c) / pi of the time, and as long below -c.
  for (const double c : {0.5, 0.8, 0.9, 1.0 / 1.1}) {
    CAPTURE(c);
    const auto x = clipped(sine(97.3, 1.0), -c, c);
    const double expected = 2.0 * std::acos(c) / std::numbers::pi * 48'000.0;
    // The frames beside each flat top that lie within 0.2 % of it count too: below 1 % of these slopes' frames.
    const auto found = static_cast<double>(clipped_frames(x).size());
    CHECK(found >= std::floor(expected) - 200.0);
    CHECK(found <= expected * 1.02 + 200.0);
  }
}

TEST_CASE("clipping of one sign is clipping") {
  // Asymmetric overload: only the upper halves are cut.
  const auto frames = clipped_frames(clipped(noise_free_recording(0.9), -1.0, 0.4));
  const auto x = noise_free_recording(0.9);
  REQUIRE(!frames.empty());
  for (const std::size_t n : frames) REQUIRE(x[n] > 0.39F);
}

TEST_CASE("clipping before the noise is added is still found") {
  // An overloaded preamplifier in front of a converter's noise: the tops are not flat to the bit.
  auto x = clipped(noise_free_recording(0.9), -0.6, 0.6);
  const auto hiss = noise(1e-3, 5, x.size());
  for (std::size_t n = 0; n < x.size(); ++n) x[n] += hiss[n];
  CHECK(!clipped_frames(x).empty());
}

TEST_CASE("three frames at full scale are clipping, however few") {
  auto x = noise(0.1, 9);
  x[1'000] = x[1'001] = x[1'002] = 1.0F;
  CHECK(clipped_frames(x) == std::vector<std::size_t>{1'000, 1'001, 1'002});
  x[1'001] = 0.5F;  // one frame at a time may be the signal itself
  CHECK(clipped_frames(x).empty());
}

TEST_CASE("zeros that break into sound are found where they are") {
  for (const std::size_t length : {16U, 64U, 480U}) {
    CAPTURE(length);
    auto x = noise(0.05, 4);
    std::fill_n(x.begin() + 20'000, length, 0.0F);
    const auto found = dropped_stretches(x);
    REQUIRE(found.size() == 1);
    CHECK(found[0].from == 20'000);
    CHECK(found[0].to == 20'000 + length);
  }
  // The sound crosses zero where it breaks off and where it comes back: 60 Hz, five periods of zeros.
  auto slow = sine(60.0, 0.5);
  const std::size_t crossing = 400 * 50;
  std::fill_n(slow.begin() + crossing, 4'000, 0.0F);
  CHECK(dropped_stretches(slow).size() == 1);

  auto short_run = noise(0.05, 4);
  std::fill_n(short_run.begin() + 20'000, 8, 0.0F);
  CHECK(dropped_stretches(short_run).empty());
}

TEST_CASE("a buffer that came twice is found, healthy sound is not") {
  auto x = noise(1e-3, 6);
  for (const double rms : {0.3, 0.5, 1.0, 5.0}) {
    CAPTURE(rms);
    CHECK(!repeated_stretch(in_16_bits(noise(rms * bit, 2)), {20'000, 23'000}, 24));
  }
  CHECK(!repeated_stretch(x, {20'000, 23'000}, 24));
  CHECK(!repeated_stretch(noise_free_recording(0.5), {20'000, 23'000}, 24));
  CHECK(!repeated_stretch(std::vector<float>(48'000), {20'000, 23'000}, 24));
  std::copy_n(x.begin() + 21'000, 512, x.begin() + 21'512);
  const auto found = repeated_stretch(x, {20'000, 23'000}, 24);
  REQUIRE(found);
  CHECK(found->from == 21'512);
  CHECK(found->to == 21'512 + 512);
}

TEST_SUITE_END();
