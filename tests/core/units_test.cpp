#include "ringtrue/core/units.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <initializer_list>
#include <type_traits>

#include "ringtrue/core/geometry.hpp"

using namespace ringtrue;

// What must not compile: a bare number as a quantity, one unit as another, a product of two.
static_assert(!std::is_convertible_v<double, Seconds>);
static_assert(!std::is_convertible_v<Hertz, double>);
static_assert(!std::is_convertible_v<Hertz, Seconds>);

TEST_SUITE_BEGIN("core");

TEST_CASE("six decibels are twice the pressure and four times the power") {
  // Definition of the decibel: 20 lg 2 = 10 lg 4 = 6.0206.
  CHECK(std::abs(amplitude_ratio(Decibels{20.0 * std::log10(2.0)}) - 2.0) < 1e-12);
  CHECK(std::abs(power_ratio(Decibels{10.0 * std::log10(4.0)}) - 4.0) < 1e-12);
  CHECK(std::abs(decibels_of_amplitude(10.0).value() - 20.0) < 1e-12);
  CHECK(std::abs(decibels_of_power(10.0).value() - 10.0) < 1e-12);
}

TEST_CASE("speed of sound follows ISO 9613-1") {
  // Source: ISO 9613-1:1993, column c_iso9613 of ../shared/reference/speed_of_sound.csv (computed there): the reference
  // condition by definition, and the change over 3 m from 20 to 21 C of method_checks.csv, row "temp".
  CHECK(speed_of_sound(Celsius{20.0}).value() == 343.2);
  const double change_s = 3.0 / speed_of_sound(Celsius{21.0}).value() - 3.0 / speed_of_sound(Celsius{20.0}).value();
  CHECK(std::abs(change_s - -1.4871155276574219e-05) < 1e-12);
}

TEST_CASE("azimuth counts to the left and elevation up, as in ITU-R BS.2051") {
  const Point left = place({90.0, 0.0}, 2.0);
  CHECK(std::abs(left.x - -2.0) < 1e-12);
  CHECK(std::abs(left.y) < 1e-12);
  const Point up = place({0.0, 90.0}, 1.5);
  CHECK(std::abs(up.z - 1.5) < 1e-12);
}

TEST_CASE("direction of a place is the one it was placed at") {
  for (const double azimuth : {-135.0, -30.0, 0.0, 45.0, 110.0, 180.0}) {
    for (const double elevation : {-30.0, 0.0, 45.0}) {
      CAPTURE(azimuth);
      const Direction found = direction_of(place({azimuth, elevation}, 1.7));
      CHECK(std::abs(found.azimuth_deg - azimuth) < 1e-9);
      CHECK(std::abs(found.elevation_deg - elevation) < 1e-9);
    }
  }
  // Source: method_checks.csv, rows ml_az and ml_el: s = (2, 1.5, 0.8) with x to the front there, so (x, y) = (-1.5,
  // 2).
  const Direction worked = direction_of({-1.5, 2.0, 0.8});
  CHECK(std::abs(worked.azimuth_deg - 36.86989764584402) < 1e-9);
  CHECK(std::abs(worked.elevation_deg - 17.744671625056935) < 1e-9);
}

TEST_SUITE_END();
