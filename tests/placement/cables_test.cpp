#include "ringtrue/placement/cables.hpp"

#include <doctest/doctest.h>

#include <vector>

namespace ringtrue {
namespace {

constexpr Floor room{5.0, 4.0};
using Pieces = std::vector<double>;

}  // namespace

TEST_CASE("the way along the walls is the one paced out by hand") {
  // From the middle of the front wall; each sum is straight + along the wall + straight.
  constexpr FloorSpot start{0.0, 2.0};
  CHECK(way_along_walls_m(room, start, {0.0, 0.5}) == doctest::Approx(1.5));  // along the front wall only
  CHECK(way_along_walls_m(room, start, {1.5, 1.0}) == doctest::Approx(2.5));  // 1.0 along it, 1.5 into the room
  CHECK(way_along_walls_m(room, start, {2.5, 0.4}) == doctest::Approx(2.0 + 2.5 + 0.4));  // round the left corner
  CHECK(way_along_walls_m(room, start, {4.0, 0.4}) == doctest::Approx(2.0 + 4.0 + 0.4));  // and further
  CHECK(way_along_walls_m(room, start, {5.0, 2.0}) == doctest::Approx(9.0));              // half round, never across
  CHECK(way_along_walls_m(room, start, {4.0, 3.6}) == doctest::Approx(6.4));              // the other way round
}

TEST_CASE("the way is the same in both directions, and none to itself along a wall") {
  constexpr FloorSpot a{0.7, 1.1};
  constexpr FloorSpot b{4.1, 3.0};
  CHECK(way_along_walls_m(room, a, b) == doctest::Approx(way_along_walls_m(room, b, a)));
  CHECK(way_along_walls_m(room, {0.0, 1.0}, {0.0, 1.0}) == 0.0);
}

TEST_CASE("cables come in the lengths they are sold in") {
  // Source: common practice, the list in the header.
  CHECK(cable_for(0.3).pieces_m == Pieces{1.0});
  CHECK(cable_for(4.64).pieces_m == Pieces{5.0});
  CHECK(cable_for(5.0).pieces_m == Pieces{5.0});
  CHECK(cable_for(5.01).pieces_m == Pieces{7.5});
  CHECK(cable_for(10.2).pieces_m == Pieces{15.0});
  CHECK(cable_for(20.0).pieces_m == Pieces{20.0});
  CHECK(cable_for(4.64).run_m == 4.64);
}

TEST_CASE("a run longer than any cable is joined from the longest and a rest") {
  CHECK(cable_for(20.1).pieces_m == Pieces{20.0, 1.0});
  CHECK(cable_for(46.0).pieces_m == Pieces{20.0, 20.0, 7.5});
}

TEST_CASE("mains leads have lengths of their own") {
  CHECK(cable_for(1.0, sold_mains_lengths_m).pieces_m == Pieces{2.0});
  CHECK(cable_for(5.5, sold_mains_lengths_m).pieces_m == Pieces{10.0});
}

}  // namespace ringtrue
