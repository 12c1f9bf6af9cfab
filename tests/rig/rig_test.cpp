#include "ringtrue/rig/rig.hpp"

#include <doctest/doctest.h>

namespace ringtrue {
namespace {

Rig crossed_rig() {
  Rig rig;
  rig.speakers = {{.label = "L", .output = 7}, {.label = "R", .output = 2}, {.label = "C", .output = 5}};
  return rig;
}

}  // namespace

TEST_CASE("by_output lists speakers by their interface outputs, not by their place in the file") {
  CHECK(by_output(crossed_rig()) == std::vector<std::size_t>{1, 2, 0});  // outputs 2, 5, 7
  CHECK(by_output(Rig{}).empty());
}

TEST_CASE("channel_count is the highest output of speakers and loopback") {
  Rig rig = crossed_rig();
  CHECK(channel_count(rig) == 7);
  rig.interface.loopback_output = 3;  // below the highest: changes nothing
  CHECK(channel_count(rig) == 7);
  rig.interface.loopback_output = 16;
  CHECK(channel_count(rig) == 16);
  CHECK(channel_count(Rig{}) == 0);
}

}  // namespace ringtrue
