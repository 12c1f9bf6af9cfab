#include "ringtrue/correction/target.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <string>

#include "ringtrue/core/errors.hpp"

using namespace ringtrue;

namespace {

double at(const char* text, double frequency_hz) { return target_db(parse_target(text).value(), frequency_hz); }

std::string refusal(const char* text) {
  try {
    (void)parse_target(text);
  } catch (const InvalidInput& error) {
    return error.what();
  }
  return "taken";
}

}  // namespace

TEST_CASE("targets in words have the gains they say") {
  CHECK(at("flat", 50.0) == 0.0);
  // Closed form: dB per octave times octaves from 1 kHz.
  CHECK(std::abs(at("tilt=-0.8", 125.0) - 2.4) < 1e-12);
  CHECK(std::abs(at("tilt=-0.8", 4'000.0) + 1.6) < 1e-12);
  // Closed form: half the gain in dB at the shelf's frequency, all of it far below, none far above.
  CHECK(std::abs(at("shelf=120:+4", 120.0) - 2.0) < 1e-12);
  CHECK(std::abs(at("shelf=120:+4", 1.0) - 4.0) < 1e-3);
  CHECK(std::abs(at("shelf=120:4", 12'000.0)) < 1e-3);
  CHECK(std::abs(at("tilt=-1,shelf=120:+4", 120.0) - (2.0 + std::log2(1'000.0 / 120.0))) < 1e-12);
}

TEST_CASE("anything else may be a file, and what begins like a target must go on like one") {
  CHECK_FALSE(parse_target("curve.csv").has_value());
  CHECK_FALSE(parse_target("flatter.txt").has_value());
  CHECK(refusal("tilt=steep").find("expected a number from -6 to 6 dB per octave before \"steep\"") !=
        std::string::npos);
  CHECK(refusal("tilt=-7").find("expected a number") != std::string::npos);
  CHECK(refusal("shelf=120").find("the shelf has no dB") != std::string::npos);
  CHECK(refusal("tilt=-1,curve").find("\"curve\" is not known") != std::string::npos);
  CHECK(refusal("tilt=-1x").find("\"x\" is left over") != std::string::npos);
}

TEST_CASE("points are joined by straight lines over log frequency and held beyond their ends") {
  TargetCurve curve;
  curve.points = TargetPoints{{100.0, 400.0}, {2.0, -2.0}};
  CHECK(target_db(curve, 20.0) == 2.0);
  CHECK(std::abs(target_db(curve, 200.0)) < 1e-12);  // the middle of two octaves
  CHECK(target_db(curve, 5'000.0) == -2.0);
}

TEST_CASE("a speaker's own ends are Butterworth slopes and a straight line in the treble") {
  // Closed form: |H|^2 = 1 / (1 + (fc/f)^2n): 3.01 dB at fc, 12.30 dB an octave below it for n = 2.
  const NaturalEnds ends{.low_hz = 50.0, .low_order = 2.0, .treble_db_per_octave = -0.5};
  CHECK(std::abs(natural_ends_db(ends, 50.0) + 3.0103) < 1e-4);
  CHECK(std::abs(natural_ends_db(ends, 25.0) + 12.3045) < 1e-4);
  CHECK(std::abs(natural_ends_db(ends, 8'000.0) + 1.0) < 1e-4);
}
