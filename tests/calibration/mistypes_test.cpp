#include "ringtrue/calibration/mistypes.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <vector>

using namespace ringtrue;

namespace {

std::string how(double wanted, double found, double tolerance = 0.008, int decimals = 2) {
  const auto slip = guess_mistype({.wanted = wanted, .found = found, .tolerance = tolerance, .decimals = decimals});
  return slip ? slip->how : "";
}

}  // namespace

// The slips are what the issue of copying numbers by hand names; each expected value is worked out by hand.
TEST_CASE("each slip of a hand is recognised by what it makes of the value") {
  CHECK(how(3.41, 2.41) == "one digit wrong");
  CHECK(how(3.41, 3.14) == "two digits exchanged");
  CHECK(how(3.41, 34.1) == "decimal point moved");
  CHECK(how(3.41, 0.341) == "decimal point moved");
  CHECK(how(3.41, 0.0) == "left out");
  CHECK(how(-3.4, 3.4, 0.1, 1) == "typed with the wrong sign");
  CHECK(how(3.41, 3.1) == "one digit left out");       // 3.1 is "3.41" without its 4
  CHECK(how(3.41, 33.41) == "one digit typed twice");  // the 3
}

TEST_CASE("what was typed is the slip's value, not the measured one") {
  const auto slip = guess_mistype({.wanted = 3.41, .found = 2.4132, .tolerance = 0.008});
  REQUIRE(slip);
  CHECK(slip->typed == 2.41);
}

TEST_CASE("a delay in the unit of another field is recognised") {
  // At 344 m/s 3.41 ms are 1.173 m = 3.849 ft (0.3048 m each), at 48 kHz 163.68 samples.
  const auto unit = [](double found) {
    const auto slip = guess_mistype(
        {.wanted = 3.41, .found = found, .tolerance = 0.008, .samples_per_unit = 48.0, .metres_per_unit = 0.344});
    return slip ? slip->how : "";
  };
  CHECK(unit(1.173) == "typed in metres");
  CHECK(unit(3.849) == "typed in feet");
  CHECK(unit(163.68) == "typed in samples");
  CHECK(unit(3.41 / 48.0) == "typed into a field for samples");
  CHECK(unit(3.41 / 0.344) == "typed into a field for metres");
}

TEST_CASE("another output's value is named, the partner's before a wrong digit") {
  const std::vector<OtherValue> others{{"Rss", 2.41}, {"C", 5.55}};
  const auto partner = guess_mistype({.wanted = 3.41, .found = 2.41, .others = others});
  REQUIRE(partner);
  CHECK(partner->how == "the value of Rss");
  const auto other = guess_mistype({.wanted = 3.41, .found = 5.55, .others = others});
  REQUIRE(other);
  CHECK(other->how == "the value of C");
}

TEST_CASE("what no slip explains is not explained") {
  CHECK(how(3.41, 2.97) == "");
  CHECK(how(3.41, 3.41) == "");  // that is no slip
}
