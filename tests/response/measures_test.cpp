#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <vector>

#include "response/simulated.hpp"
#include "ringtrue/response/arrival.hpp"
#include "ringtrue/response/clock.hpp"
#include "ringtrue/response/decay.hpp"
#include "ringtrue/response/level.hpp"
#include "ringtrue/response/polarity.hpp"
#include "ringtrue/response/takes.hpp"
#include "sample_rate.hpp"

using namespace ringtrue;

namespace {

using ringtrue::test::rate_hz;
const Band flat{Hertz{60.0}, Hertz{18'500.0}};

/// Takes of a response with independent noise in both.
Takes takes_of(const std::vector<double>& h, double noise_rms, std::uint64_t seed = 1) {
  test::Noise noise{seed};
  auto first = h;
  auto second = h;
  for (double& x : first) x += noise_rms * noise.next();
  for (double& x : second) x += noise_rms * noise.next();
  return combine(test::in_single(first), test::in_single(second), rate_hz, 0);
}

/// Impulse response of an analogue transfer function H(f), by inverse transform, delayed.
template <class TransferFunction>
std::vector<double> response_of(const TransferFunction& transfer, double delay_samples, std::size_t length = 16'384) {
  const RealFft fft{length};
  std::vector<std::complex<double>> bins(fft.bin_count());
  for (std::size_t k = 1; k + 1 < bins.size(); ++k) {
    const double f = static_cast<double>(k) * rate_hz / static_cast<double>(length);
    const double w = 2.0 * std::numbers::pi * f / rate_hz;
    // A gentle zero-phase end below half the sample rate, as a deconvolver's taper.
    const double end = f < 18'000.0   ? 1.0
                       : f > 21'000.0 ? 0.0
                                      : 0.5 + 0.5 * std::cos(std::numbers::pi * (f - 18e3) / 3e3);
    bins[k] = transfer(f) * std::polar(end, -w * delay_samples);
  }
  std::vector<double> h(length);
  fft.inverse(bins, h);
  return h;
}

using Complex = std::complex<double>;

Complex butterworth_2(Complex p) { return 1.0 / (p * p + std::numbers::sqrt2 * p + 1.0); }

/// Linkwitz-Riley 24 dB/octave two-way: its sum is an all-pass (S. Linkwitz 1976; methods.md section 13).
Complex two_way(double f, double crossover_hz) {
  const Complex p{0.0, f / crossover_hz};
  const Complex low = butterworth_2(p);
  const Complex high = p * p * butterworth_2(p);
  return low * low + high * high;
}

/// Linkwitz-Riley 12 dB/octave with the tweeter's leads crossed, as that crossover wants it.
Complex two_way_inverting(double f, double crossover_hz) {
  const Complex p{0.0, f / crossover_hz};
  const Complex d = (1.0 + p) * (1.0 + p);
  return 1.0 / d - p * p / d;
}

Complex box(double f, double corner_hz) {
  const Complex p{0.0, f / corner_hz};
  return p * p * butterworth_2(p);
}

}  // namespace

TEST_SUITE_BEGIN("response");

TEST_CASE("pair_lag finds a fractional delay") {
  // Source: method_checks / methods.md section 7: a delay of 12.37 samples must come out as 12.37.
  const auto first = test::in_single(test::impulse(1'000.0, 1.0, 4'096));
  const auto second = test::in_single(test::impulse(1'012.37, 0.7, 4'096));
  const PairLag lag = pair_lag(first, second, {Hertz{100.0}, Hertz{18'000.0}}, rate_hz);
  CHECK(std::abs(lag.lag_samples - 12.37) < 1e-3);
  CHECK(lag.coherence > 0.999);
}

TEST_CASE("small_pair_lag finds a fraction of a sample, and does not take a large delay for a small one") {
  const Band band{Hertz{100.0}, Hertz{18'000.0}};
  const auto first = test::in_single(test::impulse(1'000.0, 1.0, 4'096));
  for (const double delay : {-0.4, -0.01, 0.0, 0.0003, 0.3}) {
    CAPTURE(delay);
    const PairLag lag =
        small_pair_lag(first, test::in_single(test::impulse(1'000.0 + delay, 0.7, 4'096)), band, rate_hz);
    CHECK(std::abs(lag.lag_samples - delay) < 1e-4);
    CHECK(lag.coherence > 0.999);
  }
  for (const double delay : {3.0, 12.37, -480.0}) {
    CAPTURE(delay);
    const PairLag lag =
        small_pair_lag(first, test::in_single(test::impulse(1'000.0 + delay, 0.7, 4'096)), band, rate_hz);
    const bool told = lag.coherence < 0.3 || std::abs(lag.lag_samples) > 0.2;
    CHECK(told);
  }
}

TEST_CASE("pair_lag states how far noise moved it") {
  // Statistics: over 60 seeds the error divided by the stated uncertainty has an rms near 1 (0.5 to 2 allowed).
  double sum = 0.0;
  for (std::uint64_t seed = 1; seed <= 60; ++seed) {
    test::Noise noise{seed};
    auto first = test::impulse(1'000.0, 1.0, 4'096);
    auto second = first;
    for (double& x : first) x += 0.02 * noise.next();
    for (double& x : second) x += 0.02 * noise.next();
    const PairLag lag =
        pair_lag(test::in_single(first), test::in_single(second), {Hertz{100.0}, Hertz{18'000.0}}, rate_hz);
    sum += std::pow(lag.lag_samples / lag.uncertainty_samples, 2.0);
  }
  const double ratio = std::sqrt(sum / 60.0);
  CHECK(ratio > 0.5);
  CHECK(ratio < 2.0);
}

TEST_CASE("arrival is where the direct sound begins, for any crossover") {
  // A crossover's all-pass delays its lows; the arrival must stay within 0.03 ms of the propagation delay and equal
  // speakers must agree to 0.001 ms. Transfer functions: Linkwitz 1976.
  for (const double delay : {400.0, 400.25, 400.5, 433.8}) {
    CAPTURE(delay);
    const auto plain =
        full_range_arrival(takes_of(response_of([](double f) { return box(f, 55.0); }, delay), 1e-6), flat);
    REQUIRE(plain);
    CHECK(std::abs(plain->index - delay) < 0.05);
    for (const double crossover_hz : {1'600.0, 2'500.0, 3'300.0}) {
      CAPTURE(crossover_hz);
      const auto regular = full_range_arrival(
          takes_of(response_of([&](double f) { return box(f, 55.0) * two_way(f, crossover_hz); }, delay), 1e-6), flat);
      const auto inverting = full_range_arrival(
          takes_of(response_of([&](double f) { return box(f, 55.0) * two_way_inverting(f, crossover_hz); }, delay),
                   1e-6),
          flat);
      REQUIRE(regular);
      REQUIRE(inverting);
      CHECK(std::abs(regular->index - delay) / 48.0 < 0.03);
      CHECK(std::abs(inverting->index - delay) / 48.0 < 0.03);
    }
  }
}

TEST_CASE("a reflection louder than the direct sound does not become the arrival") {
  auto h = test::impulse(500.0, 0.3, 8'192);
  const auto reflection = test::impulse(560.0, 1.0, 8'192);
  for (std::size_t n = 0; n < h.size(); ++n) h[n] += reflection[n];
  const auto arrival = full_range_arrival(takes_of(h, 1e-5), flat);
  REQUIRE(arrival);
  CHECK(std::abs(arrival->index - 500.0) < 0.05);
}

TEST_CASE("noise alone has no arrival") {
  for (std::uint64_t seed = 1; seed <= 20; ++seed) {
    CHECK(!full_range_arrival(takes_of(std::vector<double>(32'768), 0.01, seed), flat));
  }
}

TEST_CASE("arrival states how far noise moved it") {
  double sum = 0.0;
  for (std::uint64_t seed = 1; seed <= 60; ++seed) {
    const auto arrival = full_range_arrival(takes_of(test::impulse(700.3, 1.0, 4'096), 0.03, seed), flat);
    REQUIRE(arrival);
    sum += std::pow((arrival->index - 700.3) / arrival->uncertainty_samples, 2.0);
  }
  const double ratio = std::sqrt(sum / 60.0);
  CHECK(ratio > 0.5);
  CHECK(ratio < 2.0);
}

TEST_CASE("level of a flat response is its gain") {
  for (const double gain : {1.0, 0.1, 0.003}) {
    const auto level =
        pink_band_level(takes_of(test::impulse(700.0, gain, 32'768), 0.0), {Hertz{500.0}, Hertz{2e3}}, 0, 32'768);
    REQUIRE(level);
    CHECK(std::abs(level->level_db.value - test::db(gain)) < 1e-4);
  }
}

TEST_CASE("level of a falling response is its pink-weighted mean") {
  // Closed form: |H|^2 = f0 / f gives  f0 (1/f1 - 1/f2) / ln(f2/f1)  over a pink-weighted band.
  const auto h = response_of([](double f) { return Complex{std::sqrt(1'000.0 / f), 0.0}; }, 2'000.0);
  const auto level = pink_band_level(takes_of(h, 0.0), {Hertz{500.0}, Hertz{2e3}}, 0, h.size());
  REQUIRE(level);
  const double expected = 10.0 * std::log10(1'000.0 * (1.0 / 500.0 - 1.0 / 2'000.0) / std::log(4.0));
  CHECK(std::abs(level->level_db.value - expected) < 0.01);
}

TEST_CASE("noise does not raise the level, and its uncertainty is true") {
  // In the band the noise of 32768 samples exceeds the impulse; the mean over seeds must still be unbiased.
  double mean = 0.0;
  double sum = 0.0;
  constexpr int seeds = 80;
  for (std::uint64_t seed = 1; seed <= seeds; ++seed) {
    const auto level = pink_band_level(takes_of(test::impulse(700.0, 1.0, 32'768), 0.003, seed),
                                       {Hertz{500.0}, Hertz{2e3}}, 0, 32'768);
    REQUIRE(level);
    mean += level->level_db.value / seeds;
    sum += std::pow(level->level_db.value / level->level_db.uncertainty, 2.0);
  }
  CHECK(std::abs(mean) < 0.08);
  CHECK(std::sqrt(sum / seeds) > 0.5);
  CHECK(std::sqrt(sum / seeds) < 2.0);
}

TEST_CASE("woofer sign ignores a tweeter that is inverted on purpose") {
  for (const double crossover_hz : {1'500.0, 2'500.0, 3'500.0}) {
    for (const double corner_hz : {40.0, 70.0}) {
      CAPTURE(crossover_hz);
      CAPTURE(corner_hz);
      const auto regular = response_of([&](double f) { return box(f, corner_hz) * two_way(f, crossover_hz); }, 500.0);
      const auto inverting =
          response_of([&](double f) { return box(f, corner_hz) * two_way_inverting(f, crossover_hz); }, 500.0);
      CHECK(woofer_sign(takes_of(regular, 1e-6), 500.0, flat) == WooferSign::positive);
      CHECK(woofer_sign(takes_of(inverting, 1e-6), 500.0, flat) == WooferSign::positive);
      auto crossed = regular;
      for (double& x : crossed) x = -x;
      CHECK(woofer_sign(takes_of(crossed, 1e-6), 500.0, flat) == WooferSign::negative);
    }
  }
}

TEST_CASE("woofer sign is unsure in noise") {
  CHECK(woofer_sign(takes_of(test::impulse(500.0, 1e-4, 16'384), 0.1), 500.0, flat) == WooferSign::unsure);
}

TEST_CASE("decay time of an ideal decay in noise is its own") {
  // Source: method_checks.csv row edc_t30_sub: p^2 = exp(-6 ln10 t / 0.3) + 1e-5, 1 s at 48 kHz: T30 with noise
  // subtracted, stopped at the crossing, tail added is 0.29999959 s. Ours finds the crossing in blocks: 0.3 %.
  std::vector<double> squared(48'000);
  for (std::size_t n = 0; n < squared.size(); ++n) {
    squared[n] = std::exp(-6.0 * std::numbers::ln10 * static_cast<double>(n) / 48'000.0 / 0.3) + 1e-5;
  }
  const auto found = reverberation_time_s(squared, 1e-5, Hertz{48'000.0});
  REQUIRE(found);
  CHECK(std::abs(*found - 0.29999959303156504) < 0.001);
}

TEST_CASE("too little range gives no decay time") {
  // ISO 3382-1 4.2.1: T20 needs 35 dB over the noise.
  std::vector<double> squared(48'000);
  for (std::size_t n = 0; n < squared.size(); ++n) {
    squared[n] = std::exp(-6.0 * std::numbers::ln10 * static_cast<double>(n) / 48'000.0 / 0.3) + 1e-3;
  }
  CHECK(!reverberation_time_s(squared, 1e-3, Hertz{48'000.0}));
  CHECK(!reverberation_time_s(std::vector<double>(10), 0.0, Hertz{48'000.0}));
}

TEST_SUITE_END();
