#include "ringtrue/calibration/calibration_json.hpp"

#include <doctest/doctest.h>

#include <functional>
#include <limits>
#include <nlohmann/json.hpp>
#include <string>
#include <vector>

#include "calibration/example.hpp"
#include "ringtrue/core/errors.hpp"

using namespace ringtrue;
using Json = nlohmann::ordered_json;

namespace {

Json written(const Calibration& calibration) { return Json::parse(format_calibration(calibration)); }

std::string refusal(const std::string& text) {
  try {
    static_cast<void>(parse_calibration(text, "c.json"));
  } catch (const InvalidInput& error) {
    return error.what();
  }
  return "accepted";
}

/// What the reader says after the example's JSON was changed.
std::string refusal_after(const std::function<void(Json&)>& change) {
  Json json = written(test::example_calibration());
  change(json);
  return refusal(json.dump());
}

std::vector<std::string> keys(const Json& object) {
  std::vector<std::string> all;
  for (const auto& item : object.items()) all.push_back(item.key());
  return all;
}

using Keys = std::vector<std::string>;
const std::string remedy = "; use a calibration.json that this program wrote";

}  // namespace

TEST_CASE("calibration JSON has the contract's keys in a fixed order") {
  // Source: the outward contract, calibration.json; "kind", "locating" and uncertainties are additions.
  const Json json = written(test::example_calibration());
  CHECK(keys(json) == Keys{"schema", "date", "rig", "time_reference", "level_unit", "speakers", "bass_management",
                           "lfe_only", "correction", "locating", "room", "findings"});
  CHECK(json["schema"] == "ringtrue.calibration/1");
  const Json& speaker = json["speakers"][0];
  CHECK(keys(speaker) == Keys{"label", "output", "kind", "status", "measured", "settings", "correction"});
  CHECK(keys(speaker["measured"]) == Keys{"polarity", "position_m", "azimuth_deg", "elevation_deg",
                                          "direction_uncertainty_deg", "distance_m", "distance_uncertainty_m",
                                          "positions", "band_ends", "low_octaves", "room"});
  CHECK(keys(speaker["measured"]["band_ends"]) == Keys{"low_3_db_hz", "low_10_db_hz", "high_3_db_hz", "high_10_db_hz"});
  CHECK(keys(speaker["measured"]["positions"][1]) == Keys{"arrival_ms", "arrival_uncertainty_ms", "distance_m",
                                                          "level_db", "level_uncertainty_db", "signal_to_noise_db",
                                                          "decay_time_s"});
  CHECK(keys(speaker["settings"]) == Keys{"delay_ms", "trim_db", "invert", "equaliser"});
  CHECK(keys(json["speakers"][1]["settings"]["equaliser"][0]) == Keys{"shape", "frequency_hz", "gain_db", "q"});
  CHECK(keys(json["findings"][0]) == Keys{"severity", "code", "speaker", "message"});
}

TEST_CASE("what is not known is null in calibration JSON") {
  const Json json = written(test::example_calibration());
  const Json& silent = json["speakers"][2];
  for (const auto& item : silent["measured"]["positions"][0].items()) {
    CAPTURE(item.key());
    CHECK(item.value().is_null());
  }
  CHECK(silent["settings"]["delay_ms"].is_null());
  CHECK(silent["settings"]["trim_db"].is_null());
  for (const char* key : {"position_m", "azimuth_deg", "elevation_deg", "direction_uncertainty_deg", "distance_m"})
    CHECK(silent["measured"][key].is_null());
  CHECK(json["bass_management"].is_null());
  CHECK(json["findings"][2]["speaker"].is_null());
}

TEST_CASE("a located speaker's angles follow BS.2051: left is positive, up is positive") {
  Calibration calibration = test::example_calibration();
  calibration.speakers[0].measured.position_m = Point{-1.0, 1.0, std::sqrt(2.0)};
  const Json measured = written(calibration)["speakers"][0]["measured"];
  // Closed form: atan(1/1) = 45 degrees to the left; height sqrt 2 over a distance in plan of sqrt 2: 45 degrees up.
  CHECK(measured["azimuth_deg"] == 45.0);
  CHECK(measured["elevation_deg"] == 45.0);
  CHECK(measured["position_m"] == Json::array({-1.0, 1.0, 1.4142}));
}

TEST_CASE("calibration JSON drops digits without meaning and never prints -0") {
  Calibration calibration = test::example_calibration();
  calibration.speakers[0].settings.delay_ms = 341 * 0.01;  // 3.41 + 1 ulp
  calibration.speakers[0].settings.trim_db = -0.0;
  calibration.speakers[0].measured.positions[0].arrival_ms = 5.123456789;
  calibration.speakers[0].measured.positions[0].level_db = -1e-9;
  calibration.speakers[0].measured.position_m = Point{-0.0, -1e-7, 1.0};
  calibration.rig.positions[1].offset_m.z = -0.0;
  const std::string text = format_calibration(calibration);
  CHECK(text.find("\"delay_ms\": 3.41,") != std::string::npos);
  CHECK(text.find("\"trim_db\": 0.0,") != std::string::npos);
  CHECK(text.find("\"arrival_ms\": 5.12346,") != std::string::npos);
  CHECK(text.find("\"level_db\": 0.0,") != std::string::npos);
  CHECK(text.find("-0.0,") == std::string::npos);
  CHECK(text.find("-0.0\n") == std::string::npos);
}

TEST_CASE("a number that is not finite is written as null") {
  Calibration calibration = test::example_calibration();
  calibration.speakers[0].measured.positions[0].level_db = std::numeric_limits<double>::quiet_NaN();
  calibration.speakers[0].measured.positions[0].arrival_ms = std::numeric_limits<double>::infinity();
  const Json position = written(calibration)["speakers"][0]["measured"]["positions"][0];
  CHECK(position["level_db"].is_null());
  CHECK(position["arrival_ms"].is_null());
}

TEST_CASE("text that is not UTF-8 is still written as valid JSON") {
  Calibration calibration = test::example_calibration();
  calibration.findings[0].message = "file \xff.wav";
  CHECK(written(calibration)["findings"][0]["message"] == "file \xEF\xBF\xBD.wav");  // U+FFFD
}

TEST_CASE("a calibration reads back to an equal value and to the same bytes") {
  Calibration calibration = test::example_calibration();
  SUBCASE("as it is") {}
  SUBCASE("with every optional part of the rig") {
    calibration.rig.room.size_m = {5.2, 4.4, 2.6};
    calibration.rig.room.temperature_c = 19.7;
    calibration.rig.interface.loopback_output = 16;
    calibration.rig.interface.polarity_switch = false;
    calibration.rig.interface.delay_step_ms = 1.0 / 48.0;
    calibration.rig.bass_management =
        BassManagement{.crossover_hz = 90.0, .lfe_gain_db = 0.0, .slope = CrossoverSlope::bw18};
    calibration.rig.speakers[0].crossover_hz = 120.0;
    calibration.time_reference = TimeReference::earliest_arrival;
  }
  SUBCASE("with labels beyond ASCII") {
    calibration.rig.speakers[0].label = "Größe \"1\"\n";
    calibration.speakers[0].label = calibration.rig.speakers[0].label;
  }
  SUBCASE("with nothing in it") { calibration = Calibration{}; }
  SUBCASE("with everything about the bass") { calibration = test::bass_calibration(); }
  const std::string text = format_calibration(calibration);
  const Calibration back = parse_calibration(text, "c.json");
  CHECK(back == calibration);
  CHECK(format_calibration(back) == text);
}

TEST_CASE("bass management stands at the top level too, with the rig's values") {
  Calibration calibration = test::example_calibration();
  calibration.rig.bass_management = BassManagement{.crossover_hz = 90.0, .lfe_gain_db = 10.0};
  CHECK(written(calibration)["bass_management"] == Json{{"crossover_hz", 90.0},
                                                        {"lfe_gain_db", 10.0},
                                                        {"slope", "LR24"},
                                                        {"alignment", nullptr},
                                                        {"crossover_suggestion", nullptr},
                                                        {"lfe_peak_dbfs", nullptr},
                                                        {"picture", nullptr}});
}

TEST_CASE("what the sub's alignment won stands with the bass management") {
  const Json bass = written(test::bass_calibration())["bass_management"];
  CHECK(bass["alignment"] == Json{{"subs", Json::array({{{"label", "LFE"}, {"shift_ms", -3.125}, {"gain_db", -1.5}}})},
                                  {"band_hz", {40.0, 160.0}},
                                  {"gain_db", 0.9},
                                  {"power_gain_db", 0.7},
                                  {"worst_main", "L"},
                                  {"worst_main_change_db", -0.25},
                                  {"spatial_variance_db2", {{"together", 9.25}, {"as_set", 4.5}}}});
  CHECK(
      bass["crossover_suggestion"] ==
      Json{{"crossover_hz", 90.0},
           {"tried", Json::array({{{"crossover_hz", 80.0}, {"shortfall_db", 1.5}, {"roughness_db", 3.0}},
                                  {{"crossover_hz", 90.0}, {"shortfall_db", 1.25}, {"roughness_db", 2.5}}})},
           {"own", Json::array(
                       {{{"mains", {"Ltf"}},
                         {"crossover_hz", 120.0},
                         {"tried",
                          Json::array({{{"crossover_hz", 120.0}, {"shortfall_db", 0.5}, {"roughness_db", 2.0}}})}}})}});
}

TEST_CASE("low octaves and the LFE's peak are written") {
  const Json json = written(test::bass_calibration());
  CHECK(json["speakers"][3]["measured"]["low_octaves"][0] ==
        Json{{"centre_hz", 31.6}, {"level_db", -42.25}, {"signal_to_noise_db", 17.5}});
  CHECK(json["speakers"][0]["measured"]["low_octaves"] == Json::array());
  CHECK(json["bass_management"]["lfe_peak_dbfs"] == 3.9);
}

TEST_CASE("the picture of the bass has a curve a line") {
  const Calibration calibration = test::bass_calibration();
  const Json picture = written(calibration)["bass_management"]["picture"];
  CHECK(picture["frequency_hz"] == Json::array({20.0, 40.0, 80.0, 160.0, 320.0}));
  CHECK(keys(picture["mains"][0]) == Keys{"label", "crossover_hz", "phase_before_deg", "phase_after_deg", "main_db",
                                          "sub_db", "before_db", "after_db"});
  CHECK(picture["mains"][0]["after_db"] == Json::array({0.0, 0.2, 0.1, -0.2, 0.0}));
  Json json = written(calibration);
  json["bass_management"]["picture"]["mains"][0]["sub_db"].erase(0);
  CHECK(refusal(json.dump()) ==
        "c.json, bass_management.picture.mains[0].sub_db: is not as long as frequency_hz" + remedy);
}

TEST_CASE("only long arrays of numbers come to one line, whatever texts look like") {
  Calibration calibration = test::bass_calibration();
  const std::string odd = "[1,\n \\\" 2, 3, 4, 5, 6, 7, 8, 9, 10] [1, 2, 3, 4, 5, 6, 7, 8, 9]\\";
  calibration.rig.name = odd;
  BassPicture& picture = *calibration.bass_picture;
  picture.frequency_hz = {20.0, 25.0, 31.5, 40.0, 50.0, 63.0, 80.0, 100.0, 125.0};
  picture.mains[0].main_db = {-10.0, -9.0, -8.5, -7.0, 0.0, 0.5, 1.0, 0.0, -0.1};
  for (auto* curve : {&picture.mains[0].sub_db, &picture.mains[0].before_db, &picture.mains[0].after_db}) {
    *curve = picture.mains[0].main_db;
  }
  const std::string text = format_calibration(calibration);
  CHECK(text.find("\"main_db\": [-10.0, -9.0, -8.5, -7.0, 0.0, 0.5, 1.0, 0.0, -0.1],\n") != std::string::npos);
  CHECK(text.find("\"band_hz\": [\n") != std::string::npos);
  CHECK(Json::parse(text)["rig"]["name"] == odd);
  CHECK(parse_calibration(text, "c.json") == calibration);
}

TEST_CASE("a calibration from before the bass was aligned is still read") {
  Calibration calibration = test::example_calibration();
  calibration.rig.bass_management = BassManagement{};
  Json json = written(calibration);
  REQUIRE(json["rig"]["bass_management"].erase("slope") == 1);
  for (const char* key : {"slope", "alignment", "crossover_suggestion", "lfe_peak_dbfs", "picture"}) {
    REQUIRE(json["bass_management"].erase(key) == 1);
  }
  for (auto& speaker : json["speakers"]) REQUIRE(speaker["measured"].erase("band_ends") == 1);
  CHECK(parse_calibration(json.dump(), "c.json") == calibration);
}

TEST_CASE("keys that a later version adds are ignored") {
  CHECK(refusal_after([](Json& json) {
          json["target"] = Json::array({1, Json::object()});
          json["speakers"][0]["settings"]["fir"] = "L.wav";
        }) == "accepted");
}

TEST_CASE("text that is not JSON is refused with its line") {
  CHECK(refusal("") == "c.json:1: this is not JSON, or it is cut off" + remedy);
  CHECK(refusal("{\n\n  \"schema\": nan\n}") == "c.json:3: this is not JSON, or it is cut off" + remedy);
  CHECK(refusal("\x89PNG\r\n\x1a\n") == "c.json:1: this is not JSON, or it is cut off" + remedy);
  CHECK(refusal(std::string(5, '\0')) == "c.json:1: this is not JSON, or it is cut off" + remedy);
  CHECK(refusal("[1e999]") == "c.json: it holds a number that is too large" + remedy);
}

TEST_CASE("every beginning of a calibration is refused, never half read") {
  const std::string text = format_calibration(test::example_calibration());
  REQUIRE(text.ends_with("}\n"));
  for (std::size_t length = 0; length + 2 < text.size(); length += 7) {
    CAPTURE(length);
    const std::string said = refusal(text.substr(0, length));
    CHECK(said.find("this is not JSON, or it is cut off") != std::string::npos);
  }
}

TEST_CASE("nesting is refused beyond 64 levels, however deep, and allowed up to there") {
  const auto nested = [](std::size_t levels) { return std::string(levels, '[') + std::string(levels, ']'); };
  CHECK(refusal(nested(64)) == "c.json: is not an object" + remedy);  // read, and refused for what it is
  CHECK(refusal(nested(65)) == "c.json: nested deeper than 64 levels" + remedy);
  CHECK(refusal(nested(10'000'000)) == "c.json: nested deeper than 64 levels" + remedy);
  CHECK(refusal(std::string(10'000'000, '[')) == "c.json: nested deeper than 64 levels" + remedy);
}

TEST_CASE("a text over 64 MiB is refused before it is parsed") {
  const std::string large((std::size_t{64} << 20) + 1, ' ');
  CHECK(refusal(large) == "c.json: is larger than 64 MiB" + remedy);
}

TEST_CASE("JSON that is no calibration is refused with the path of the first fault") {
  CHECK(refusal("[]") == "c.json: is not an object" + remedy);
  CHECK(refusal("{}") == "c.json, schema: is missing" + remedy);
  CHECK(refusal_after([](Json& json) { json["schema"] = "ringtrue.calibration/2"; }) ==
        "c.json, schema: is not \"ringtrue.calibration/1\"" + remedy);
  CHECK(refusal_after([](Json& json) { json["speakers"][1]["settings"].erase("trim_db"); }) ==
        "c.json, speakers[1].settings.trim_db: is missing" + remedy);
  CHECK(refusal_after([](Json& json) { json["speakers"][1]["settings"]["trim_db"] = "loud"; }) ==
        "c.json, speakers[1].settings.trim_db: is not a number" + remedy);
  CHECK(refusal_after([](Json& json) { json["speakers"][0]["status"] = "fine"; }) ==
        "c.json, speakers[0].status: is none of \"ok\", \"silent\", \"unreliable\"" + remedy);
  CHECK(refusal_after([](Json& json) {
          json["speakers"][0]["measured"]["position_m"] = {1.0, 2.0};
        }) == "c.json, speakers[0].measured.position_m: is not an array of 3 numbers" + remedy);
  CHECK(refusal_after([](Json& json) { json["findings"][0]["speaker"] = 7; }) ==
        "c.json, findings[0].speaker: is not a text" + remedy);
}

TEST_CASE("a result that contradicts its rig is refused") {
  CHECK(refusal_after([](Json& json) { json["speakers"][0]["label"] = "Rw"; }) ==
        "c.json, speakers[0].label: is not \"L\" as in the rig" + remedy);
  CHECK(refusal_after([](Json& json) { json["speakers"][0]["output"] = 9; }) ==
        "c.json, speakers[0].output: is not 3 as in the rig" + remedy);
  CHECK(refusal_after([](Json& json) { json["speakers"].erase(3); }) ==
        "c.json, speakers: is not as long as the rig's speaker list" + remedy);
  CHECK(refusal_after([](Json& json) {
          auto& positions = json["speakers"][0]["measured"]["positions"];
          positions.push_back(positions[0]);
        }) == "c.json, speakers[0].measured.positions: is not an array of at most 2 elements" + remedy);
  CHECK(refusal_after([](Json& json) { json["rig"]["speaker"][1]["output"] = 3; }) ==
        "c.json, rig.speaker[1]: is not a speaker on an output of its own" + remedy);
  CHECK(refusal_after([](Json& json) { json["rig"]["speaker"][1]["output"] = 1.5; }) ==
        "c.json, rig.speaker[1].output: is not a whole number from 1 to 1024" + remedy);
  CHECK(refusal_after([](Json& json) { json["rig"]["interface"]["trim_step_db"] = -0.1; }) ==
        "c.json, rig.interface.trim_step_db: is not positive" + remedy);
}
