#include "ringtrue/response/decay.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <vector>

#include "response/simulated.hpp"
#include "sample_rate.hpp"

using namespace ringtrue;

namespace {

using ringtrue::test::rate;
using ringtrue::test::rate_hz;

/// Energy decay rate per second of a reverberation time.
double rate_of(double T_s) { return 6.0 * std::numbers::ln10 / T_s; }

/// Squared response that falls by 60 dB in T_s, plus a constant noise power.
std::vector<double> ideal_decay(double T_s, double noise_power, double length_s) {
  std::vector<double> squared(static_cast<std::size_t>(length_s * rate_hz));
  for (std::size_t n = 0; n < squared.size(); ++n) {
    squared[n] = std::exp(-rate_of(T_s) * static_cast<double>(n) / rate_hz) + noise_power;
  }
  return squared;
}

/// Gaussian noise under a falling envelope, as late reverberation is, and steady noise added; squared.
std::vector<double> noisy_decay(double T_s, double noise_power, double length_s, std::uint64_t seed) {
  test::Noise noise{seed};
  std::vector<double> squared(static_cast<std::size_t>(length_s * rate_hz));
  for (std::size_t n = 0; n < squared.size(); ++n) {
    const double envelope = std::exp(-0.5 * rate_of(T_s) * static_cast<double>(n) / rate_hz);
    squared[n] = std::pow(envelope * noise.next() + std::sqrt(noise_power) * noise.next(), 2.0);
  }
  return squared;
}

/// Reverberation time over -5 to -5 - range dB of E(t) = sum a/k exp(-k t), the closed form of the backward integral of
/// sum a exp(-k t), by least squares on a fine grid.
double closed_form_time_s(const std::vector<std::pair<double, double>>& amplitude_and_rate, double range_db) {
  double n = 0.0, sx = 0.0, sy = 0.0, sxx = 0.0, sxy = 0.0, whole = 0.0;
  for (const auto& [a, k] : amplitude_and_rate) whole += a / k;
  for (double t = 0.0; t < 3.0; t += 1e-4) {
    double energy = 0.0;
    for (const auto& [a, k] : amplitude_and_rate) energy += a / k * std::exp(-k * t);
    const double level_db = 10.0 * std::log10(energy / whole);
    if (level_db > -5.0 || level_db < -5.0 - range_db) continue;
    n += 1.0;
    sx += t;
    sy += level_db;
    sxx += t * t;
    sxy += t * level_db;
  }
  return -60.0 * (n * sxx - sx * sx) / (n * sxy - sx * sy);
}

}  // namespace

TEST_SUITE_BEGIN("response");

TEST_CASE("decay time of an ideal decay is its own, whether its noise is known or not") {
  // Source: method_checks.csv row edc_t30_sub: p^2 = exp(-6 ln10 t / 0.3) + 1e-5, 1 s at 48 kHz: T30 with the noise
  // subtracted, stopped at the crossing, tail added is 0.29999959 s. Without any of it it would be 0.5758 s (row
  // edc_t30_raw). Blocks of 10 ms see the late slope where noise already bends it: 0.1 % is left of that.
  for (const double known_noise : {1e-5, 0.0}) {
    CAPTURE(known_noise);
    const auto found = reverberation_time(ideal_decay(0.3, 1e-5, 1.0), known_noise, rate);
    REQUIRE(found);
    CHECK(found->range_db == 30.0);
    CHECK(std::abs(found->seconds - 0.29999959303156504) < 3e-4);
    REQUIRE(found->curvature_percent);
    CHECK(std::abs(*found->curvature_percent) < 0.5);  // one exponential: T30 = T20
  }
}

TEST_CASE("a direct sound above its reverberation leaves the early decay time to that") {
  // Closed form: after a pulse that lifts the curve's first value by 6 dB, it falls by 60 dB in T. Least squares over N
  // values of its 4 dB (16.7 ms of T = 0.25 s, N = 800) with that one more are 36 T / (60 N 16.7 ms) = 1.1 % too steep.
  auto squared = ideal_decay(0.25, 0.0, 0.7);
  double reverberation = 0.0;
  for (const double x : squared) reverberation += x;
  squared[0] += reverberation * (std::pow(10.0, 0.6) - 1.0);
  const auto found = decay_times(squared, 0.0, rate);
  REQUIRE(found);
  REQUIRE(found->early_s);
  CHECK(std::abs(*found->early_s / 0.25 - 1.0) < 0.015);
  REQUIRE(found->t30_s);
  CHECK(std::abs(*found->t30_s / 0.25 - 1.0) < 0.005);
}

TEST_CASE("decay times of random reverberation in noise scatter around the true one") {
  // Full-band noise has BT = 24 kHz * T independent values: the statistical scatter of T is far below 2 %
  // (about 1 / sqrt(BT)), so 2 % each and 0.5 % in the mean leave nothing to bias.
  for (const double T_s : {0.15, 0.3, 0.6}) {
    CAPTURE(T_s);
    double mean_s = 0.0;
    constexpr int seeds = 12;
    for (std::uint64_t seed = 1; seed <= seeds; ++seed) {
      const auto found = reverberation_time(noisy_decay(T_s, 1e-5, 0.7, seed), 0.0, rate);
      REQUIRE(found);
      CHECK(std::abs(found->seconds / T_s - 1.0) < 0.02);
      mean_s += found->seconds / seeds;
    }
    CHECK(std::abs(mean_s / T_s - 1.0) < 0.005);
  }
}

TEST_CASE("a response that ends before its decay gives what its range allows") {
  // An exponential of T = 1 s has fallen by 60 t dB: at 0.7 s 42 dB, at 0.55 s 33 dB, at 0.45 s 27 dB below the whole.
  // The tail is known to be exponential too, so the time stays exact; T30 wants 40 dB, T20 30 dB (decay.hpp).
  const auto found = [](double length_s) { return reverberation_time(ideal_decay(1.0, 0.0, length_s), 0.0, rate); };
  REQUIRE(found(0.7));
  CHECK(found(0.7)->range_db == 30.0);
  CHECK(std::abs(found(0.7)->seconds - 1.0) < 1e-3);
  REQUIRE(found(0.55));
  CHECK(found(0.55)->range_db == 20.0);
  CHECK(!found(0.55)->curvature_percent);
  CHECK(std::abs(found(0.55)->seconds - 1.0) < 1e-3);
  CHECK(!found(0.45));
}

TEST_CASE("a response that was cut off and padded with silence keeps its decay time") {
  // Saved impulse responses end where their makers cut them: T = 0.3 s cut 70 dB down, then nothing; cut 38 dB down
  // only a T20 is left of it, whose statistical scatter is larger.
  const auto found = [](double cut_s) {
    auto squared = noisy_decay(0.3, 0.0, cut_s, 3);
    squared.resize(static_cast<std::size_t>(0.7 * rate_hz));
    return reverberation_time(squared, 1e-12, rate);
  };
  REQUIRE(found(0.35));
  CHECK(found(0.35)->range_db == 30.0);
  CHECK(std::abs(found(0.35)->seconds - 0.3) < 0.006);
  REQUIRE(found(0.19));
  CHECK(found(0.19)->range_db == 20.0);
  CHECK(std::abs(found(0.19)->seconds - 0.3) < 0.012);
}

TEST_CASE("two slopes show as curvature") {
  // A room of 0.4 s coupled to one of 1.5 s, whose decay begins 25 dB lower: closed form of the backward integral.
  const std::vector<std::pair<double, double>> rooms{{1.0, rate_of(0.4)}, {std::pow(10.0, -2.5), rate_of(1.5)}};
  std::vector<double> squared(static_cast<std::size_t>(2.0 * rate_hz));
  for (std::size_t n = 0; n < squared.size(); ++n) {
    for (const auto& [a, k] : rooms) squared[n] += a * std::exp(-k * static_cast<double>(n) / rate_hz);
  }
  const auto found = reverberation_time(squared, 0.0, rate);
  REQUIRE(found);
  const double T20_s = closed_form_time_s(rooms, 20.0);
  const double T30_s = closed_form_time_s(rooms, 30.0);
  CHECK(std::abs(found->seconds / T30_s - 1.0) < 0.002);
  REQUIRE(found->curvature_percent);
  CHECK(std::abs(*found->curvature_percent - 100.0 * (T30_s / T20_s - 1.0)) < 0.5);
  CHECK(*found->curvature_percent > 10.0);  // ISO 3382-2 annex B: suspect
}

TEST_CASE("what does not fall has no decay time") {
  CHECK(!reverberation_time(std::vector<double>(48'000, 1.0), 0.0, rate));
  CHECK(!reverberation_time(std::vector<double>(48'000), 0.0, rate));
  CHECK(!reverberation_time(std::vector<double>{}, 0.0, rate));
  CHECK(!reverberation_time(ideal_decay(-0.5, 0.0, 0.5), 0.0, rate));  // rises
  auto click = std::vector<double>(48'000);
  click.front() = 1.0;
  CHECK(!reverberation_time(click, 0.0, rate));
}

TEST_SUITE_END();
