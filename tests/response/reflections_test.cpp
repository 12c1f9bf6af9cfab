#include "ringtrue/response/reflections.hpp"

#include <doctest/doctest.h>

#include <cmath>

#include "simulated.hpp"

namespace ringtrue {
namespace {

Takes copies(const std::vector<std::pair<double, double>>& delay_ms_and_db, double noise_rms = 0.0) {
  auto mean = test::impulse(1'000.0, 1.0, 4'000);
  std::vector<double> noise(4'000);
  for (const auto& [delay_ms, level_db] : delay_ms_and_db) {
    const auto copy = test::impulse(1'000.0 + 48.0 * delay_ms, std::pow(10.0, level_db / 20.0), 4'000);
    for (std::size_t n = 0; n < copy.size(); ++n) mean[n] += copy[n];
  }
  test::Noise random{11};
  for (std::size_t n = 0; n < mean.size(); ++n) {
    mean[n] += noise_rms * random.next();
    noise[n] = noise_rms * random.next();
  }
  return {48'000.0, 1'000, test::in_single(mean), test::in_single(noise)};
}

}  // namespace

TEST_SUITE_BEGIN("response");

TEST_CASE("reflections are found with their delays and levels") {
  // Copies of an impulse, known by construction; the nearest two are 0.9 ms apart, three times what the band resolves.
  const std::vector<std::pair<double, double>> known{{0.8, -6.0}, {1.7, -12.0}, {3.31, -4.0}, {9.2, -17.0}};
  const auto found = early_reflections(copies(known), 1'000.0);
  REQUIRE(found.size() == known.size());
  for (std::size_t i = 0; i < known.size(); ++i) {
    CAPTURE(known[i].first);
    CHECK(std::abs(found[i].delay_ms - known[i].first) < 0.02);
    CHECK(std::abs(found[i].level_db - known[i].second) < 0.5);
  }
}

TEST_CASE("no reflection is invented") {
  CHECK(early_reflections(copies({}), 1'000.0).empty());
  CHECK(early_reflections(copies({{25.0, -3.0}}), 1'000.0).empty());  // later than what is called early
  CHECK(early_reflections(copies({{5.0, -24.0}}), 1'000.0).empty());  // below what anyone hears
  CHECK(early_reflections(copies({}, 0.02), 1'000.0).empty());        // noise
  CHECK(early_reflections(copies({{5.0, -6.0}}), 10.0).empty());      // no room before the arrival: no answer
}

TEST_SUITE_END();

}  // namespace ringtrue
