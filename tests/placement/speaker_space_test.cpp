#include "ringtrue/placement/speaker_space.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <limits>
#include <string>

namespace ringtrue {
namespace {

constexpr SpeakerSpace box{{-1.8, -2.0, -1.0}, {1.5, 2.5, 0.9}};

void check_reach(Direction direction, double distance_m, Surface limit) {
  CAPTURE(direction.azimuth_deg);
  CAPTURE(direction.elevation_deg);
  const Reach found = reach(box, direction);
  CHECK(found.distance_m == doctest::Approx(distance_m).epsilon(1e-12));
  CHECK(found.limit == limit);
}

}  // namespace

TEST_CASE("along an axis the reach is the side of the box, left being positive azimuth") {
  check_reach({0, 0}, 2.5, Surface::front_wall);
  check_reach({180, 0}, 2.0, Surface::back_wall);
  check_reach({90, 0}, 1.8, Surface::left_wall);
  check_reach({-90, 0}, 1.5, Surface::right_wall);
  check_reach({0, 90}, 0.9, Surface::ceiling);
  check_reach({0, -90}, 1.0, Surface::floor);
}

TEST_CASE("aslant the nearest side ends the reach") {
  // By hand: sin 30 = 1/2, so 0.9 m of height are used up after 1.8 m; sideways only 1.8 cos 30 sin 45 = 1.10 m.
  check_reach({45, 30}, 1.8, Surface::ceiling);
  check_reach({135, 0}, 1.8 * std::sqrt(2.0), Surface::left_wall);   // 2.55 m; the back wall would come after 2.83 m
  check_reach({-150, 0}, 4.0 / std::sqrt(3.0), Surface::back_wall);  // 2.31 m; the right wall after 3.0 m
}

TEST_CASE("without walls the reach has no end") {
  constexpr double far = std::numeric_limits<double>::infinity();
  const SpeakerSpace open{{-far, -far, -1.0}, {far, far, far}};
  CHECK(reach(open, {77.0, 12.0}).distance_m == far);
  CHECK(reach(open, {77.0, 0.0}).distance_m == far);
  CHECK(reach(open, {0.0, -30.0}).distance_m == doctest::Approx(2.0).epsilon(1e-12));
}

TEST_CASE("every surface has its name") {
  CHECK(std::string{name(Surface::front_wall)} == "front wall");
  CHECK(std::string{name(Surface::back_wall)} == "back wall");
  CHECK(std::string{name(Surface::left_wall)} == "left wall");
  CHECK(std::string{name(Surface::right_wall)} == "right wall");
  CHECK(std::string{name(Surface::ceiling)} == "ceiling");
  CHECK(std::string{name(Surface::floor)} == "floor");
}

}  // namespace ringtrue
