#include "../../src/device/rate_watch.hpp"

#include <doctest/doctest.h>

#include <cmath>

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

TEST_CASE("a server that runs faster than real time says nothing about its rate") {
  const RateWatch watch = watched(5e6, 10.0);
  CHECK(watch.faster_than_real_time());
  CHECK(!watch.rate_hz());
  CHECK(!watched(48e3, 10.0).faster_than_real_time());
}
