#include "../../src/device/rate_watch.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <random>

using namespace ringtrue;
using std::chrono::duration_cast;
using std::chrono::steady_clock;

namespace {

/// Callbacks of 1024 frames at a rate; every so often one comes late.
RateWatch watched(double rate_hz, double seconds, int late_every = 0) {
  RateWatch watch{48e3};
  const steady_clock::time_point start{};
  double late_s = 0.0;
  for (int block = 1; block * 1'024.0 / rate_hz < seconds; ++block) {
    if (late_every > 0 && block % late_every == 0) late_s += 0.02;
    const std::chrono::duration<double> time{block * 1'024.0 / rate_hz + late_s};
    watch.saw(static_cast<std::uint64_t>(block) * 1'024, start + duration_cast<steady_clock::duration>(time));
  }
  return watch;
}

}  // namespace

TEST_CASE("a take's rate is read from this computer's clock") {
  REQUIRE(watched(48e3, 10.0).rate_hz());
  CHECK(std::abs(*watched(48e3, 10.0).rate_hz() - 48e3) < 5.0);
  CHECK(std::abs(*watched(44.1e3, 10.0).rate_hz() - 44.1e3) < 5.0);
  CHECK(std::abs(*watched(48e3, 20.0, 170).rate_hz() - 48e3) < 5.0);  // one late block in 3.6 s
  CHECK(!watched(48e3, 2.0).rate_hz());                               // too short to say
}

TEST_CASE("where callbacks come early and late the rate is known less well") {
  CHECK(watched(48e3, 10.0).error_hz() < 5.0);
  RateWatch shaken{48e3};
  std::mt19937 random{1};
  std::normal_distribution<double> jitter{0.0, 2e-3};  // 2 ms at both ends of half a second: 0.57 % of it
  for (int block = 1; block < 470; ++block) {
    const std::chrono::duration<double> time{block * 1'024.0 / 48e3 + jitter(random)};
    shaken.saw(static_cast<std::uint64_t>(block) * 1'024,
               steady_clock::time_point{} + duration_cast<steady_clock::duration>(time));
  }
  REQUIRE(shaken.rate_hz());
  // sigma = 0.0057 * 48000 = 272 Hz; the median of 19: 1.253 * 272 / sqrt(19) = 78 Hz, twice that 156; half to double
  CHECK(shaken.error_hz() > 78.0);
  CHECK(shaken.error_hz() < 312.0);
}

TEST_CASE("a server that runs faster than real time says nothing about its rate") {
  const RateWatch watch = watched(5e6, 10.0);
  CHECK(watch.faster_than_real_time());
  CHECK(!watch.rate_hz());
  CHECK(!watched(48e3, 10.0).faster_than_real_time());
}
