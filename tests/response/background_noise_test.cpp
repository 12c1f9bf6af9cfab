#include "ringtrue/response/background_noise.hpp"

#include <doctest/doctest.h>

#include <array>
#include <cmath>

#include "sample_rate.hpp"
#include "simulated.hpp"

namespace ringtrue {
namespace {

using ringtrue::test::rate;

std::vector<float> white_noise(double rms, std::size_t frames) {
  test::Noise random{7};
  std::vector<float> x(frames);
  for (float& sample : x) sample = static_cast<float>(rms * random.next());
  return x;
}

std::vector<NoiseReading> noise_in(const std::vector<float>& x) {
  const std::array<std::span<const float>, 1> quiet{std::span{x}};
  return background_noise(quiet, rate);
}

}  // namespace

TEST_SUITE_BEGIN("response");

TEST_CASE("octave levels of white noise follow their bandwidths") {
  // Closed form: the power in an octave is rms^2 0.7048 f / (fs / 2). In 2 s an octave of B Hz has 2 B independent
  // values: a standard error of 4.34 / sqrt(2 B) dB, four of them allowed.
  const auto found = noise_in(white_noise(1e-3, 96'000));
  REQUIRE(found.size() == 9);
  for (const NoiseReading& reading : found) {
    const double bandwidth_hz = reading.centre_hz * (std::pow(10.0, 0.15) - std::pow(10.0, -0.15));
    CAPTURE(reading.centre_hz);
    const double expected_db = -60.0 + 10.0 * std::log10(bandwidth_hz / 24'000.0);
    CHECK(std::abs(reading.level_dbfs - expected_db) < 0.05 + 4.0 * 4.34 / std::sqrt(2.0 * bandwidth_hz));
  }
}

TEST_CASE("a tone is found in its octave with its power, and in no other") {
  std::vector<float> x(48'000);
  for (std::size_t n = 0; n < x.size(); ++n) {
    x[n] = static_cast<float>(0.1 * std::sin(2.0 * std::numbers::pi * 250.0 * static_cast<double>(n) / 48'000.0));
  }
  const auto found = noise_in(x);
  REQUIRE(found.size() == 9);
  CHECK(std::abs(found[3].level_dbfs + 23.01) < 0.05);  // 0.1 / sqrt 2
  for (const std::size_t other : {0U, 1U, 5U, 6U, 8U}) CHECK(found[other].level_dbfs < -80.0);
}

TEST_CASE("too little silence, or digital silence, has no level") {
  CHECK(noise_in(white_noise(1e-3, 12'000)).empty());
  CHECK(noise_in(std::vector<float>(96'000)).empty());
}

TEST_CASE("noise rating is that of the published curves") {
  // Source: nr_curves.csv (ISO/R 1996:1971, AS 1469:1983): NR25 is 55.250 dB at 63 Hz, 35.050 at 250, 25.000 at 1 kHz,
  // 17.950 ... at 8 kHz 17.750.
  CHECK(std::abs(noise_rating_curve_db(25.0, 0) - 72.425) < 1e-9);
  CHECK(std::abs(noise_rating_curve_db(25.0, 1) - 55.250) < 1e-9);
  CHECK(std::abs(noise_rating_curve_db(25.0, 2) - 43.750) < 1e-9);
  CHECK(std::abs(noise_rating_curve_db(25.0, 3) - 35.250) < 1e-9);
  CHECK(std::abs(noise_rating_curve_db(25.0, 4) - 29.150) < 1e-9);
  CHECK(std::abs(noise_rating_curve_db(25.0, 5) - 25.000) < 1e-9);
  CHECK(std::abs(noise_rating_curve_db(25.0, 6) - 21.875) < 1e-9);
  CHECK(std::abs(noise_rating_curve_db(25.0, 7) - 19.525) < 1e-9);
  CHECK(std::abs(noise_rating_curve_db(25.0, 8) - 17.750) < 1e-9);
  // A spectrum 10 dB under NR25 everywhere but at 125 Hz, where it lies on NR30 (48.1 dB): NR30, set by 125 Hz.
  std::vector<NoiseReading> readings;
  for (std::size_t octave = 0; octave < 9; ++octave) {
    const double level = octave == 2 ? 48.1 : noise_rating_curve_db(25.0, octave) - 10.0;
    readings.push_back({1'000.0 * std::pow(10.0, 0.3 * (static_cast<double>(octave) - 5.0)), level - 120.0});
  }
  const auto rating = noise_rating(readings, 120.0);  // full scale at 120 dB SPL
  REQUIRE(rating);
  CHECK(std::abs(rating->rating - 30.0) < 1e-9);
  CHECK(rating->band_hz == 125.0);
  CHECK(!noise_rating({}, 120.0));
}

TEST_SUITE_END();

}  // namespace ringtrue
