#include "ringtrue/calibration/recheck.hpp"

#include <doctest/doctest.h>

#include <array>
#include <cmath>
#include <nlohmann/json.hpp>

#include "ringtrue/core/errors.hpp"
#include "typed_ring.hpp"

using namespace ringtrue;
using ringtrue::test::measured_speaker;
using ringtrue::test::typed_into;
using ringtrue::test::TypedRing;

namespace {

constexpr std::array<std::size_t, 5> all{0, 1, 2, 3, 4};

/// The ring of typed_ring.hpp with speaker `s` later and louder than it was.
PositionMeasurement moved(const TypedRing& ring, std::size_t s, double later_ms, double louder_db) {
  PositionMeasurement now = ring.before;
  const double gain = std::pow(10.0, (now.speakers[s].level_db->value + louder_db) / 20.0);
  now.speakers[s] = measured_speaker(now.speakers[s].arrival_ms->value + later_ms, gain, 77);
  for (auto& speaker : now.speakers) {  // another start of the recorder, another microphone gain
    speaker.arrival_ms->value += 3.21;
    speaker.response.first_sample_ms += 3.21;
    speaker.level_db->value += 20.0 * std::log10(1.3);
    for (float& sample : speaker.response.samples) sample *= 1.3F;
  }
  return now;
}

Recheck recheck_of(const TypedRing& ring, const PositionMeasurement& now, const std::vector<std::size_t>& named) {
  return recheck(ring.calibration, {&ring.before, 1}, {&now, 1}, named, all);
}

/// Ring without filters, so that levels are known in closed form.
TypedRing plain_ring() {
  TypedRing ring;
  for (auto& speaker : ring.calibration.speakers) speaker.settings.equaliser.clear();
  return ring;
}

}  // namespace

// The ring arrives together at 10 ms and 0 dB (typed_ring.hpp): new delay = 10 - arrival, new trim = -level.
TEST_CASE("a moved speaker gets the values that fit the others, and these stay") {
  const TypedRing ring = plain_ring();
  const Recheck result = recheck_of(ring, moved(ring, 0, 0.85, -1.5), {0});
  CHECK_FALSE(result.settings_active);
  CHECK(*result.calibration.speakers[0].settings.delay_ms == doctest::Approx(3.41 - 0.85).epsilon(1e-9));
  CHECK(*result.calibration.speakers[0].settings.trim_db == doctest::Approx(-3.4 + 1.5).epsilon(1e-9));
  for (const std::size_t s : {1U, 2U, 3U, 4U}) {
    CHECK(result.calibration.speakers[s] == ring.calibration.speakers[s]);
    CHECK_FALSE(result.speakers[s].drifted);
    CHECK(std::abs(*result.speakers[s].later_ms) < 0.002);
  }
  CHECK(*result.speakers[0].later_ms == doctest::Approx(0.85).epsilon(0.002));
  // 22 degrees C: c = 343.2 sqrt(295.15 / 293.15) = 344.37 m/s (units.hpp), 0.85 ms are 29.3 cm.
  CHECK(*result.speakers[0].further_m == doctest::Approx(0.2927).epsilon(0.002));
  REQUIRE(result.findings.size() == 1);
  CHECK(result.findings[0].code == "moved");
  CHECK(result.findings[0].message ==
        "L (output 1) is 29.3 cm further away than it was. In which direction it went beside that is not seen from "
        "here.");
}

TEST_CASE("settings that were typed in while it was recorded are taken out again") {
  const TypedRing ring;  // with filters
  const PositionMeasurement neutral = moved(ring, 0, -0.4, 1.0);
  PositionMeasurement now;
  for (std::size_t s = 0; s < neutral.speakers.size(); ++s) {
    now.speakers.push_back(typed_into(neutral.speakers[s], ring.calibration.speakers[s].settings));
  }
  const Recheck with = recheck_of(ring, now, {0});
  const Recheck without = recheck_of(ring, neutral, {0});
  CHECK(with.settings_active);
  CHECK_FALSE(without.settings_active);
  CHECK(std::abs(*with.calibration.speakers[0].settings.delay_ms - (3.41 + 0.4)) < 0.011);
  CHECK(std::abs(*without.calibration.speakers[0].settings.delay_ms - (3.41 + 0.4)) < 0.011);
  // typed_into does not say what the filters do to level_db; the trims of both are compared where it does not matter.
  CHECK(with.calibration.speakers[1] == ring.calibration.speakers[1]);
}

TEST_CASE("a speaker that was not really moved has nothing to be typed in again") {
  TypedRing ring = plain_ring();  // 63 steps of 0.1 are 6.300000000000001 where they are only multiplied
  ring.before.speakers[3].level_db->value = 6.3;
  for (float& sample : ring.before.speakers[3].response.samples)
    sample *= static_cast<float>(std::pow(10.0, 6.3 / 20.0));
  ring.calibration.speakers[3].measured.positions[0].level_db = 6.3;
  ring.calibration.speakers[3].settings.trim_db = -6.3;
  const Recheck result = recheck_of(ring, ring.before, {3});
  CHECK(result.speakers[3].after == result.speakers[3].before);
}

TEST_CASE("a moved speaker keeps its filters, and what they do at the new place is worked out again and said") {
  TypedRing ring;
  SpeakerResult& lss = ring.calibration.speakers[3];  // a filter of -5.2 dB at 310 Hz
  SpeakerCorrection correction{};
  correction.band_hz = {100.0, 8'000.0};
  correction.target_db.assign(28, 0.0);
  correction.before_db = {std::vector<double>(28, 1.0)};
  correction.after_db = correction.before_db;
  lss.correction = correction;
  // The new response is the old one with a bump of +5.2 dB where the filter cuts as much: a flat one is left.
  PositionMeasurement now = ring.before;
  now.speakers[3] = typed_into(now.speakers[3], {0.0, 0.0, false, {{FilterShape::peak, 310.0, 5.2, 1.4}}});
  const Recheck result = recheck_of(ring, now, {3});
  const SpeakerResult& after = result.calibration.speakers[3];
  CHECK(after.settings.equaliser == lss.settings.equaliser);
  REQUIRE(after.correction);
  REQUIRE(after.correction->after_db.size() == 1);
  CHECK(after.correction->deviation_before_db > after.correction->deviation_after_db + 0.3);
  const double cut_db = after.correction->after_db[0][11] - after.correction->before_db[0][11];  // 315 Hz
  CHECK(std::abs(cut_db + 5.0) < 0.3);  // the band's mean of a peak of -5.2 dB at 310 Hz
  const auto note = std::ranges::find(result.findings, "filters-kept", &Finding::code);
  REQUIRE(note != result.findings.end());
  CHECK(note->speaker == "Lss");
  CHECK(note->message.starts_with("Lss (output 4) keeps its filter. Its response departs from the target by "));
  CHECK(note->message.find("calibrate") == std::string::npos);  // it fits better than it did
}

TEST_CASE("where the moved speaker is now the latest, all others wait, and a finding says why") {
  const TypedRing ring = plain_ring();
  const Recheck result = recheck_of(ring, moved(ring, 3, 0.50, 0.0), {3});  // Lss had no delay at all
  CHECK(*result.calibration.speakers[3].settings.delay_ms == 0.0);
  CHECK(*result.calibration.speakers[0].settings.delay_ms == doctest::Approx(3.41 + 0.50).epsilon(1e-9));
  CHECK(*result.calibration.speakers[2].settings.delay_ms == doctest::Approx(5.55 + 0.50).epsilon(1e-9));
  CHECK(result.calibration.speakers[0].settings.trim_db == ring.calibration.speakers[0].settings.trim_db);
  CHECK(std::ranges::count(result.findings, "others-changed", &Finding::code) == 1);
}

TEST_CASE("where the moved speaker is now the weakest, all trims go down together") {
  const TypedRing ring = plain_ring();
  const Recheck result = recheck_of(ring, moved(ring, 3, 0.0, -0.8), {3});  // Lss had trim 0, the highest there is
  CHECK(*result.calibration.speakers[3].settings.trim_db == 0.0);
  CHECK(*result.calibration.speakers[0].settings.trim_db == doctest::Approx(-3.4 - 0.8).epsilon(1e-9));
  CHECK(std::ranges::count(result.findings, "others-changed", &Finding::code) == 1);
}

TEST_CASE("a speaker that drifted without being named is named, and nothing is changed") {
  const TypedRing ring = plain_ring();
  const Recheck result = recheck_of(ring, moved(ring, 4, 0.20, 0.0), {});
  CHECK(result.calibration == ring.calibration);
  CHECK(result.speakers[4].drifted);
  REQUIRE_FALSE(result.findings.empty());
  CHECK(result.findings[0].code == "drifted");
  CHECK(result.findings[0].speaker == "Rss");
  const Recheck same = recheck_of(ring, moved(ring, 4, 0.0, 0.0), {});
  CHECK(std::ranges::count(same.findings, "drifted", &Finding::code) <= 1);  // its response is another: seed 77
  CHECK_FALSE(same.speakers[0].drifted);
}

TEST_CASE("without a reference or without saved responses there is nothing to measure against") {
  const TypedRing ring = plain_ring();
  PositionMeasurement now = moved(ring, 0, 0.3, 0.0);
  for (const std::size_t s : {1U, 2U, 3U, 4U}) now.speakers[s] = {};
  CHECK_THROWS_AS((void)recheck_of(ring, now, {0}), InvalidInput);
  CHECK_THROWS_AS((void)recheck(ring.calibration, {}, {&now, 1}, std::vector<std::size_t>{0}, all), InvalidInput);
}

TEST_CASE("the re-check as JSON holds old and new values side by side") {
  const TypedRing ring = plain_ring();
  const auto json = nlohmann::json::parse(format_recheck(recheck_of(ring, moved(ring, 0, 0.85, -1.5), {0})));
  CHECK(json["schema"] == "ringtrue.recheck/1");
  CHECK(json["speakers"][0]["before"]["delay_ms"] == 3.41);
  CHECK(json["speakers"][0]["after"]["delay_ms"] == 2.56);
  CHECK(json["speakers"][0]["changed"] == true);
  CHECK(json["speakers"][1]["changed"] == false);
}
