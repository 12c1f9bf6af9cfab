#include "ringtrue/core/parallel.hpp"

#include <doctest/doctest.h>

#include <numeric>
#include <stdexcept>
#include <string>
#include <vector>

using namespace ringtrue;

TEST_SUITE_BEGIN("core");

TEST_CASE("parallel_for visits every index once, whatever the number of threads") {
  for (const unsigned threads : {0U, 1U, 2U, 7U}) {
    std::vector<int> visits(1'000);
    parallel_for(visits.size(), threads, [&](std::size_t i) { ++visits[i]; });
    CHECK(visits == std::vector<int>(1'000, 1));
  }
  parallel_for(0, 4, [](std::size_t) { FAIL("nothing to visit"); });
}

TEST_CASE("parallel_for reports the error of the lowest index") {
  const auto run = [] {
    parallel_for(64, 4, [](std::size_t i) {
      if (i == 20 || i == 50) throw std::runtime_error{std::to_string(i)};
    });
  };
  CHECK_THROWS_WITH(run(), "20");
}

TEST_SUITE_END();
