#include "ringtrue/dsp/crossover.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <complex>
#include <numbers>
#include <string>

#include "ringtrue/core/errors.hpp"
#include "sample_rate.hpp"

using namespace ringtrue;

namespace {

using ringtrue::test::rate;
constexpr Hertz corner{80.0};

std::complex<double> at(const Cascade& cascade, double frequency_hz) {
  return frequency_response(cascade, Hertz{frequency_hz}, rate);
}

double gain_db(std::complex<double> h) { return 20.0 * std::log10(std::abs(h)); }

/// Frequency on the warped scale of the bilinear transform, 1 at the corner.
double warped(double frequency_hz) {
  return std::tan(std::numbers::pi * frequency_hz / rate.value()) /
         std::tan(std::numbers::pi * corner.value() / rate.value());
}

}  // namespace

TEST_SUITE_BEGIN("dsp");

TEST_CASE("Butterworth filters follow their closed form at every order") {
  // Source: |H|^2 = 1 / (1 + W^2n), W = tan(pi f / fs) / tan(pi fc / fs).
  for (int order = 1; order <= 8; ++order) {
    CAPTURE(order);
    const Cascade low = butterworth_low_pass(order, corner, rate);
    const Cascade high = butterworth_high_pass(order, corner, rate);
    CHECK(low.size() == static_cast<std::size_t>((order + 1) / 2));
    for (const double f : {20.0, 57.0, 80.0, 113.0, 640.0, 15e3}) {
      CAPTURE(f);
      const double w = std::pow(warped(f), 2 * order);
      CHECK(std::abs(std::norm(at(low, f)) - 1.0 / (1.0 + w)) < 1e-9);
      CHECK(std::abs(std::norm(at(high, f)) - w / (1.0 + w)) < 1e-9);
    }
  }
}

TEST_CASE("a Linkwitz-Riley branch is 6.02 dB down at the crossover, a Butterworth branch 3.01 dB") {
  // Closed form: one half and the square root of one half.
  for (const CrossoverSlope slope : crossover_slopes) {
    CAPTURE(name(slope));
    const Crossover filters = crossover_filters(slope, corner, rate);
    const double expected = std::string{name(slope)}.starts_with("LR") ? -6.0205999132796 : -3.0102999566398;
    CHECK(std::abs(gain_db(at(filters.low, 80.0)) - expected) < 1e-8);
    CHECK(std::abs(gain_db(at(filters.high, 80.0)) - expected) < 1e-8);
  }
}

TEST_CASE("branches sum to an all-pass where the theory says so, inverted where it says so") {
  // Source: S. H. Linkwitz (1976): 24 and 48 dB/octave as they are, 12 and 36 with one branch inverted. Butterworth of
  // odd order: either way. Butterworth 12 (inverted) and 24 dB/octave are 3.01 dB up at the crossover instead.
  struct Case {
    CrossoverSlope slope;
    double sign;
    double at_crossover_db;
  };
  for (const auto& [slope, sign, at_crossover_db] :
       {Case{CrossoverSlope::lr12, -1.0, 0.0}, Case{CrossoverSlope::lr24, 1.0, 0.0},
        Case{CrossoverSlope::lr36, -1.0, 0.0}, Case{CrossoverSlope::lr48, 1.0, 0.0},
        Case{CrossoverSlope::bw18, 1.0, 0.0}, Case{CrossoverSlope::bw18, -1.0, 0.0},
        Case{CrossoverSlope::bw12, -1.0, 3.0103}, Case{CrossoverSlope::bw24, 1.0, 3.0103}}) {
    CAPTURE(name(slope));
    const Crossover filters = crossover_filters(slope, corner, rate);
    CHECK(std::abs(gain_db(at(filters.low, 80.0) + sign * at(filters.high, 80.0)) - at_crossover_db) < 1e-5);
    if (at_crossover_db != 0.0) continue;
    for (const double f : {20.0, 50.0, 100.0, 300.0, 5e3}) {
      CHECK(std::abs(gain_db(at(filters.low, f) + sign * at(filters.high, f))) < 1e-6);
    }
  }
}

TEST_CASE("an inverted branch of a 24 dB/octave crossover makes a null there and 1.087 dB less an octave away") {
  // Source: ../shared/reference/method_checks.csv, row lr4_pol.
  const Crossover filters = crossover_filters(CrossoverSlope::lr24, corner, rate);
  CHECK(std::abs(at(filters.low, 80.0) - at(filters.high, 80.0)) < 1e-9);
  CHECK(std::abs(gain_db(at(filters.low, 160.0) - at(filters.high, 160.0)) + 1.087) < 1e-3);
}

TEST_CASE("a 24 dB/octave crossover at 80 Hz has the sections of the reference table, each twice, and its sum") {
  // Source: ../shared/reference/eq_cookbook.csv, rows 26 to 28 (lr4_lowpass_stage, lr4_highpass_stage,
  // lr4_sum_allpass): the W3C cookbook's formulas in 60-digit arithmetic; the table allows 1e-9.
  constexpr double a1 = -1.9851906578962613, a2 = 9.8529951312821462e-01;
  const Biquad low{2.7213807988318866e-05, 5.4427615976637731e-05, 2.7213807988318866e-05, a1, a2};
  const Biquad high{9.9262254275611894e-01, -1.9852450855122379, 9.9262254275611894e-01, a1, a2};
  const Biquad all_pass{a2, a1, 1.0, a1, a2};
  const Crossover filters = crossover_filters(CrossoverSlope::lr24, corner, rate);
  for (const double f : {10.0, 40.0, 80.0, 160.0, 1'000.0, 20'000.0}) {
    CAPTURE(f);
    CHECK(std::abs(at(filters.low, f) - at({low, low}, f)) < 1e-9);
    CHECK(std::abs(at(filters.high, f) - at({high, high}, f)) < 1e-9);
    CHECK(std::abs(at(filters.low, f) + at(filters.high, f) - at({all_pass}, f)) < 1e-9);
  }
}

TEST_CASE("a slope is found by its exact name only") {
  for (const CrossoverSlope slope : crossover_slopes) CHECK(find_crossover_slope(name(slope)) == slope);
  for (const char* text : {"", "lr24", "LR24 ", "LR60", "BW6"}) CHECK(find_crossover_slope(text) == std::nullopt);
}

TEST_CASE("a crossover that cannot be made is refused with its value") {
  CHECK_THROWS_WITH_AS((void)crossover_filters(CrossoverSlope::lr12, Hertz{0.0}, rate),
                       "filter: a corner at 0 Hz is not between 0 and half the sample rate of 48000 Hz; choose a "
                       "frequency in between",
                       InvalidInput);
  CHECK_THROWS_WITH_AS((void)butterworth_low_pass(0, corner, rate),
                       "filter: a Butterworth filter of order 0; use 1 or more", InvalidInput);
}

TEST_SUITE_END();
