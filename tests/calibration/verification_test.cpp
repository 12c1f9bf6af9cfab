#include "ringtrue/calibration/verification.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <functional>
#include <nlohmann/json.hpp>
#include <tuple>

#include "ringtrue/calibration/response_comparison.hpp"
#include "typed_ring.hpp"

using namespace ringtrue;
using ringtrue::test::TypedRing;

namespace {

const TypedRing& ring() {
  static const TypedRing made;
  return made;
}

Verification after(const std::function<void(std::vector<Settings>&)>& slip) {
  auto settings = ring().right();
  slip(settings);
  return verify(ring().calibration, &ring().before, ring().typed(settings));
}

/// Labels and values that failed, "L delay_ms".
std::vector<std::string> suspected(const Verification& verification) {
  std::vector<std::string> all;
  for (const auto& speaker : verification.speakers) {
    for (const auto& suspicion : speaker.suspicions) all.push_back(speaker.label + " " + suspicion.value);
  }
  return all;
}

}  // namespace

// Everything is constructed: the same responses, shifted, scaled, inverted and filtered by a plain difference equation
// (typed_ring.hpp), so what must come out is known exactly.
TEST_CASE("settings typed in as the sheet says pass, whatever gain and latency have in common") {
  const Verification result = after([](auto&) {});
  CHECK(result.passed);
  CHECK(result.responses_compared);
  for (const auto& speaker : result.speakers) {
    CAPTURE(speaker.label);
    CHECK(speaker.verdict == Verdict::pass);
    CHECK(std::abs(speaker.delay_ms->error) < 0.001);
    CHECK(std::abs(speaker.level_db->error) < 0.02);
    CHECK(std::abs(speaker.response_db->error) < 0.1);
    CHECK(speaker.polarity_right == true);
  }
  CHECK(result.findings.empty());
}

TEST_CASE("one value mistyped fails, and names that speaker and that value alone") {
  using Slip = std::function<void(std::vector<Settings>&)>;
  const std::vector<std::tuple<std::string, Slip>> slips{
      {"L delay_ms", [](auto& s) { s[0].delay_ms = 3.14; }},
      {"L delay_ms", [](auto& s) { s[0].delay_ms = 3.42; }},  // one step of the interface
      {"C delay_ms", [](auto& s) { s[2].delay_ms = 55.5; }},
      {"Rss trim_db", [](auto& s) { s[4].trim_db = 1.2; }},
      {"R trim_db", [](auto& s) { s[1].trim_db = -2.2; }},  // one step
      {"C trim_db", [](auto& s) { s[2].trim_db = -7.5; }},
      {"Lss invert", [](auto& s) { s[3].invert = true; }},
      {"L equaliser[1].gain_db", [](auto& s) { s[0].equaliser[0].gain_db = 3.5; }},
      {"L equaliser[1].frequency_hz", [](auto& s) { s[0].equaliser[0].frequency_hz = 2'150.0; }},
      {"L equaliser[1].q", [](auto& s) { s[0].equaliser[0].q = 0.2; }},
      {"L equaliser[2].gain_db", [](auto& s) { s[0].equaliser[1].gain_db = -4.2; }},
      {"L equaliser[2]", [](auto& s) { s[0].equaliser.pop_back(); }},
      {"L equaliser", [](auto& s) { s[0].equaliser.clear(); }},
      {"Lss equaliser[1]", [](auto& s) { s[3].equaliser.clear(); }},
      {"Lss equaliser[1].frequency_hz", [](auto& s) { s[3].equaliser[0].frequency_hz = 3'100.0; }},
  };
  for (const auto& [expected, slip] : slips) {
    CAPTURE(expected);
    const Verification result = after(slip);
    CHECK_FALSE(result.passed);
    CHECK(suspected(result) == std::vector<std::string>{expected});
    REQUIRE_FALSE(result.findings.empty());
    CHECK(result.findings[0].code == "tolerance");
    CHECK(result.findings[0].severity == Severity::warn);
    CHECK(result.findings[0].speaker == expected.substr(0, expected.find(' ')));
  }
}

TEST_CASE("two sounds are compared over the same stretch of time, whenever their arrivals are said to be") {
  // The same response, once said to arrive 8 ms earlier, as a sub's filters can make it seem: nothing differs.
  const SpeakerMeasurement then = test::measured_speaker(12.0, 1.0, 5);
  SpeakerMeasurement now = then;
  now.arrival_ms->value -= 8.0;
  const Band band{Hertz{20.0}, Hertz{250.0}};
  const auto difference = compare_responses(*at_arrival(then), *at_arrival(now), SpeakerKind::sub, band);
  CHECK(std::abs(difference.later_ms) < 1e-4);
  CHECK(std::abs(difference.louder_db) < 1e-3);
  double worst_db = 0.0;
  for (const BandDifference& part : difference.bands) worst_db = std::max(worst_db, std::abs(part.level_db));
  CHECK(worst_db < 1e-3);
}

TEST_CASE("a filter that does next to nothing was left out, not typed with a boundless Q or a gain of almost nothing") {
  const test::TypedRing ring;
  std::vector<Settings> typed = ring.right();
  typed[3].equaliser = {{FilterShape::peak, 310.0, -0.15, 1.4}};  // what another day's recording may make of none
  const PositionMeasurement now = ring.typed(typed);
  const Verification result = verify(ring.calibration, &ring.before, now);
  REQUIRE(result.speakers[3].suspicions.size() == 1);
  CHECK(result.speakers[3].suspicions[0].value == "equaliser[1]");
  CHECK(result.speakers[3].suspicions[0].how == "left out, or its frequency of 310 Hz typed far off");
}

TEST_CASE("the words say what was probably typed") {
  const Verification result = after([](auto& s) { s[0].delay_ms = 2.41; });
  REQUIRE(result.findings.size() == 1);
  CHECK(result.findings[0].message ==
        "L (output 1): delay is 1.00 ms too short: 3.41 typed as 2.41 (one digit wrong)?");
  const Verification missed = after([](auto& s) { s[3].invert = true; });
  CHECK(missed.findings[0].message == "Lss (output 4): polarity is wrong: it is inverted, the sheet says normal.");
  const Verification sign = after([](auto& s) { s[0].equaliser[0].gain_db = 3.5; });
  CHECK(sign.findings[0].message ==
        "L (output 1): equaliser filter 1 (peak 1250 Hz -3.5 dB Q 2): gain -3.5 typed as 3.5 (typed with the wrong "
        "sign)?");
}

TEST_CASE("left and right exchanged are named as a pair") {
  const Verification result = after([](auto& s) { std::swap(s[3].delay_ms, s[4].delay_ms); });
  CHECK(suspected(result) == std::vector<std::string>{"Lss delay_ms", "Rss delay_ms"});
  CHECK(result.findings[0].message == "The delays of Lss and Rss seem to be exchanged.");
}

TEST_CASE("settings that were never typed in are named as such") {
  std::vector<Settings> none(5);
  const Verification result = verify(ring().calibration, &ring().before, ring().typed(none));
  CHECK_FALSE(result.passed);
  REQUIRE_FALSE(result.findings.empty());
  CHECK(result.findings[0].message ==
        "Every speaker measures as it did before: nothing was typed in, or a switch bypasses the settings.");
}

TEST_CASE("without the saved responses arrival, level and polarity are still judged") {
  auto calibration = ring().calibration;
  for (auto& speaker : calibration.speakers) speaker.settings.equaliser.clear();
  auto settings = ring().right();
  for (auto& setting : settings) setting.equaliser.clear();
  const Verification right = verify(calibration, nullptr, ring().typed(settings));
  CHECK(right.passed);
  CHECK_FALSE(right.responses_compared);
  settings[1].delay_ms = 7.22;
  const Verification wrong = verify(calibration, nullptr, ring().typed(settings));
  CHECK(suspected(wrong) == std::vector<std::string>{"R delay_ms"});
}

TEST_CASE("a speaker that went silent stops, and its trim is suspected") {
  auto now = ring().typed(ring().right());
  now.speakers[1] = {};
  const Verification result = verify(ring().calibration, &ring().before, now);
  CHECK_FALSE(result.passed);
  CHECK(result.findings[0].code == "silent-output");
  CHECK(result.findings[0].severity == Severity::stop);
  CHECK(result.findings[0].speaker == "R");
}

TEST_CASE("the verification as JSON says what the verdicts say") {
  const auto json = nlohmann::json::parse(format_verification(after([](auto& s) { s[0].delay_ms = 2.41; })));
  CHECK(json["schema"] == "ringtrue.verification/1");
  CHECK(json["passed"] == false);
  CHECK(json["speakers"][0]["verdict"] == "fail");
  CHECK(json["speakers"][0]["suspicions"][0]["value"] == "delay_ms");
  CHECK(json["speakers"][0]["suspicions"][0]["typed"] == 2.41);
  CHECK(json["speakers"][1]["verdict"] == "pass");
}
