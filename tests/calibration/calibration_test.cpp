#include "ringtrue/calibration/calibration.hpp"

#include <doctest/doctest.h>

#include <string>

using namespace ringtrue;

TEST_CASE("names are the words of the contract") {
  // Source: the outward contract, calibration.json.
  CHECK(std::string{name(Status::ok)} == "ok");
  CHECK(std::string{name(Status::silent)} == "silent");
  CHECK(std::string{name(Status::unreliable)} == "unreliable");
  CHECK(std::string{name(Polarity::normal)} == "normal");
  CHECK(std::string{name(Polarity::inverted)} == "inverted");
  CHECK(std::string{name(Polarity::unsure)} == "unsure");
  CHECK(std::string{name(TimeReference::loopback)} == "loopback");
  CHECK(std::string{name(TimeReference::earliest_arrival)} == "earliest arrival");
  CHECK(std::string{name(FilterShape::peak)} == "peak");
  CHECK(std::string{name(FilterShape::low_shelf)} == "low_shelf");
  CHECK(std::string{name(FilterShape::high_shelf)} == "high_shelf");
}

TEST_CASE("a stop or a warning needs attention and a note does not") {
  const Finding note{Severity::note, "clock-drift", std::nullopt, ""};
  const Finding warn{Severity::warn, "tolerance", "L", ""};
  const Finding stop{Severity::stop, "silent-output", "C", ""};
  CHECK_FALSE(needs_attention({}));
  CHECK_FALSE(needs_attention({note, note}));
  CHECK(needs_attention({note, warn}));
  CHECK(needs_attention({stop, note}));
}
