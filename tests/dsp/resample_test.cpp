#include "ringtrue/dsp/resample.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <numbers>
#include <vector>

#include "arrays.hpp"

using namespace ringtrue;

namespace {

/// A sine under a Hann window of 2 s: its closed form at any time.
double tone(double frequency_hz, double t) {
  return 0.5 * (1.0 - std::cos(std::numbers::pi * t)) * std::sin(2.0 * std::numbers::pi * frequency_hz * t);
}

std::vector<double> tone_at(double frequency_hz, double rate_hz, std::size_t count) {
  std::vector<double> x(count);
  for (std::size_t n = 0; n < count; ++n) x[n] = tone(frequency_hz, static_cast<double>(n) / rate_hz);
  return x;
}

}  // namespace

TEST_SUITE_BEGIN("dsp");

TEST_CASE("a converted sine is the same sine at the new rate, sample 0 in place") {
  // Closed form. -90 dB: the error of libsoxr's interpolated phases at ratios that are no fractions; at 17 kHz an
  // error of 3e-5 of a period's slope is 0.3 ns.
  for (const double to_hz : {44'100.0, 96'000.0, 48'000.0 * (1.0 + 150e-6), 48'000.0 * (1.0 - 2e-7)}) {
    for (const double frequency_hz : {100.0, 5'000.0, 17'000.0}) {
      CAPTURE(to_hz);
      CAPTURE(frequency_hz);
      const auto converted = resample(tone_at(frequency_hz, 48'000.0, 96'000), 48'000.0, to_hz);
      REQUIRE(std::abs(static_cast<double>(converted.size()) - 2.0 * to_hz) <= 1.0);
      const auto expected = tone_at(frequency_hz, to_hz, converted.size());
      CHECK(test::worst_difference(converted, expected).difference < 3e-5);
    }
  }
}

TEST_CASE("conversion to the same rate changes nothing") {
  const auto x = tone_at(440.0, 48'000.0, 1'000);
  CHECK(resample(x, 48'000.0, 48'000.0) == x);
}

TEST_SUITE_END();
