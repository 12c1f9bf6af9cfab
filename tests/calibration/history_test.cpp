#include "ringtrue/calibration/history.hpp"

#include <doctest/doctest.h>

#include "typed_ring.hpp"

using namespace ringtrue;

TEST_CASE("history names every setting that changed, and nothing else") {
  const Calibration before = test::TypedRing{}.calibration;
  Calibration after = before;
  CHECK(changes_between(before, after).empty());
  after.speakers[0].settings.delay_ms = 2.56;
  after.speakers[0].settings.trim_db = -1.9;
  after.speakers[4].settings.invert = true;
  after.speakers.erase(after.speakers.begin() + 1);
  const auto changes = changes_between(before, after);
  REQUIRE(changes.size() == 3);
  CHECK(changes[0].label == "L");
  CHECK(changes[0].words == "delay 3.41 -> 2.56 ms, trim -3.4 -> -1.9 dB");
  CHECK(changes[1].label == "Rss");
  CHECK(changes[1].words == "now inverted");
  CHECK(changes[2].label == "R");
  CHECK(changes[2].words == "gone");
}

TEST_CASE("the verdict of a calibration is that of its findings") {
  Calibration calibration = test::TypedRing{}.calibration;
  CHECK(verdict_of(calibration) == std::string{"good"});
  calibration.findings.push_back({Severity::warn, "drifted", "L", "..."});
  CHECK(verdict_of(calibration) == std::string{"look at it"});
  calibration.speakers[0].settings = {};
  CHECK(verdict_of(calibration) == std::string{"not finished"});
}
