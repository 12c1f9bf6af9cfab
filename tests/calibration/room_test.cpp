#include "../../src/calibration/room.hpp"  // box_modes is not for the outside

#include <doctest/doctest.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <nlohmann/json.hpp>

#include "example.hpp"
#include "ringtrue/calibration/calibrate.hpp"
#include "ringtrue/calibration/calibration_json.hpp"
#include "ringtrue/capture/virtual_room.hpp"
#include "ringtrue/report/room_text.hpp"
#include "ringtrue/report/text_layout.hpp"
#include "ringtrue/rig/rig_file.hpp"

namespace ringtrue {
namespace {

const Finding* finding_of(const Calibration& calibration, const std::string& code) {
  const auto at = std::ranges::find(calibration.findings, code, &Finding::code);
  return at == calibration.findings.end() ? nullptr : &*at;
}

constexpr double c_m_s = 344.37;  // 343.2 sqrt(295.15 / 293.15): 22 degrees, the rig's default

/// Four speakers in a room of known size, ear point 2.6 m from the front and 1.9 m from the left wall, two mic spots.
Calibration calibrated(const std::string& room_keys, const std::string& keys_of_a,
                       const CalibrateOptions& options = {}) {
  const std::array<const char*, 4> labels{"A", "B", "C", "D"};
  const std::array<const char*, 4> places{"[-1.0, 1.7, 0.1]", "[1.1, 1.6, 0.0]", "[-1.3, -1.2, 0.2]",
                                          "[1.4, -1.1, 0.1]"};
  std::string rig_text =
      "layout = \"custom\"\n[room]\nsize_m = [5.6, 4.3, 2.5]\near_height_m = 1.15\n"
      "[interface]\nloopback_output = 6\n";
  std::string room_text = "[room]\near_from_front_m = 2.6\near_from_left_m = 1.9\n" + room_keys;
  for (std::size_t i = 0; i < labels.size(); ++i) {
    rig_text += std::string{"[[speaker]]\nlabel = \""} + labels[i] + "\"\noutput = " + std::to_string(i + 1) + "\n";
    room_text += std::string{"\n[[speaker]]\nlabel = \""} + labels[i] + "\"\nposition_m = " + places[i] + "\n" +
                 (i == 0 ? keys_of_a : "");
  }
  for (const char* spot : {"[0, 0, 0]", "[0.3, 0, 0]", "[0, 0.3, 0]", "[0, 0, 0.3]"}) {
    rig_text += std::string{"[[position]]\noffset_m = "} + spot + "\n";
  }
  const Rig rig = parse_rig(rig_text, "rig.toml");
  const VirtualRoom room = parse_virtual_room(room_text, "room.toml", rig);
  const Stimulus stimulus = plan_stimulus(rig, {});
  std::vector<PositionMeasurement> positions;
  for (std::size_t p = 0; p < rig.positions.size(); ++p) {
    positions.push_back(measure(rig, stimulus, capture(room, rig, stimulus, p)));
  }
  return calibrate(rig, positions, options);
}

/// Delay of the first reflection at a surface, from the geometry above.
double geometric_delay_ms(Point speaker, const std::string& surface) {
  Point image = speaker;
  if (surface == "floor") image.z = -2.0 * 1.15 - speaker.z;
  if (surface == "ceiling") image.z = 2.0 * (2.5 - 1.15) - speaker.z;
  if (surface == "left wall") image.x = -2.0 * 1.9 - speaker.x;
  if (surface == "right wall") image.x = 2.0 * (4.3 - 1.9) - speaker.x;
  if (surface == "front wall") image.y = 2.0 * 2.6 - speaker.y;
  if (surface == "back wall") image.y = -2.0 * (5.6 - 2.6) - speaker.y;
  return 1e3 * (length_m(image) - length_m(speaker)) / c_m_s;
}

constexpr const char* dry = "reverberation_time_s = 0.25\n";

}  // namespace

TEST_SUITE_BEGIN("calibration");

TEST_CASE("modes of a box are the published ones") {
  // Source: method_checks.csv rows mode100 .. mode111, modes100: 5 x 4 x 2.7 m, c = 343.2 m/s.
  const auto modes = box_modes({5.0, 4.0, 2.7}, 343.2, 100.0);
  REQUIRE(modes.size() == 12);
  const auto frequency = [&](std::array<int, 3> order) {
    const auto at = std::ranges::find(modes, order, &BoxMode::order);
    REQUIRE(at != modes.end());
    return at->frequency_hz;
  };
  CHECK(std::abs(frequency({1, 0, 0}) - 34.32) < 1e-9);
  CHECK(std::abs(frequency({0, 1, 0}) - 42.9) < 1e-9);
  CHECK(std::abs(frequency({1, 1, 0}) - 54.93880595717384) < 1e-9);
  CHECK(std::abs(frequency({0, 0, 1}) - 63.55555555555555) < 1e-9);
  CHECK(std::abs(frequency({2, 0, 0}) - 68.64) < 1e-9);
  CHECK(std::abs(frequency({1, 1, 1}) - 84.00941043701775) < 1e-9);
}

TEST_CASE("reflections are named after the surfaces that cause them, and the ear's place is found from them") {
  const Calibration found = calibrated(dry, "");
  const std::array<Point, 4> places{{{-1.0, 1.7, 0.1}, {1.1, 1.6, 0.0}, {-1.3, -1.2, 0.2}, {1.4, -1.1, 0.1}}};
  int named = 0;
  for (std::size_t s = 0; s < places.size(); ++s) {
    const auto& reflections = found.speakers[s].measured.room.reflections;
    for (const ReflectionResult& reflection : reflections) {
      if (reflection.surface.empty()) continue;
      ++named;
      CAPTURE(found.speakers[s].label);
      CAPTURE(reflection.surface);
      // The tolerance of a name is 0.25 ms; places found from four spots at 30 cm are good to some centimetres.
      CHECK(std::abs(reflection.delay_ms - geometric_delay_ms(places[s], reflection.surface)) < 0.3);
      CHECK(std::abs(reflection.path_m - 1e-3 * c_m_s * reflection.delay_ms) < 1e-3);
    }
    const auto floor = std::ranges::find(reflections, "floor", &ReflectionResult::surface);
    REQUIRE(floor != reflections.end());
    CHECK(std::abs(floor->delay_ms - geometric_delay_ms(places[s], "floor")) < 0.1);
  }
  CHECK(named >= 14);  // of 24: many coincide in a bare box
  REQUIRE(found.room.ear.from_left_m);
  REQUIRE(found.room.ear.from_front_m);
  CHECK(std::abs(*found.room.ear.from_left_m - 1.9) < 0.1);
  CHECK(std::abs(*found.room.ear.from_front_m - 2.6) < 0.1);
  CHECK(finding_of(found, "early-reflection") != nullptr);
}

TEST_CASE("a speaker that distorts is named in a note, a clean one is not, and the exit status stays") {
  // 4 % and 2 %: over the 1 % that ITU-R BS.1116-3 allows above 250 Hz (from memory).
  const Calibration bad = calibrated(dry, "second_harmonic_percent = 4\nthird_harmonic_percent = 2\n");
  const Finding* finding = finding_of(bad, "distortion");
  REQUIRE(finding != nullptr);
  CHECK(finding->severity == Severity::note);
  CHECK(finding->speaker == "A");
  CHECK(!needs_attention(bad.findings));
  const Calibration good = calibrated(dry, "second_harmonic_percent = 0.4\nthird_harmonic_percent = 0.2\n");
  CHECK(finding_of(good, "distortion") == nullptr);
}

TEST_CASE("everything of the room is written and read back, and shown within 80 columns") {
  CalibrateOptions options;
  options.full_scale_db_spl = 120.0;
  const Calibration found = calibrated("reverberation_time_s = 0.7\n[noise]\nwhite_dbfs = -76\n", "", options);
  REQUIRE(!found.room.octaves.empty());
  REQUIRE(!found.speakers[0].measured.room.octaves.empty());
  REQUIRE(!found.speakers[0].measured.room.harmonics.empty());
  // What is written is rounded, so it is the text that must come back equal, not the value.
  const std::string json = format_calibration(found);
  const Calibration back = parse_calibration(json, "c.json");
  const auto written = nlohmann::json::parse(json);
  const auto again = nlohmann::json::parse(format_calibration(back));
  CHECK(again["room"] == written["room"]);
  for (std::size_t s = 0; s < found.speakers.size(); ++s) {
    CHECK(again["speakers"][s]["measured"]["room"] == written["speakers"][s]["measured"]["room"]);
  }
  CHECK(back.room.octaves.size() == found.room.octaves.size());
  CHECK(back.speakers[0].measured.room.reflections.size() == found.speakers[0].measured.room.reflections.size());

  // White noise of -76 dBFS has -76 + 10 lg(0.7048 7943 / 24000) = -82.3 dB in the octave at 8 kHz: 37.7 dB SPL with a
  // full scale of 120, and NR (37.7 + 8) / 1.03 = 44.3 (nr_curves.csv). No other octave of white noise rates higher.
  REQUIRE(found.room.noise_rating);
  CHECK(std::abs(found.room.noise_rating->rating - 44.3) < 0.5);
  CHECK(found.room.noise_rating->band_hz == 8'000.0);
  CHECK(finding_of(found, "background-noise") != nullptr);
  CHECK(finding_of(found, "room-decay") != nullptr);

  const std::string text = format_room(found);
  for (std::size_t from = 0; from < text.size(); from = text.find('\n', from) + 1) {
    const std::string line = text.substr(from, text.find('\n', from) - from);
    CAPTURE(line);
    CHECK(text::columns(line) <= text::page_columns);
  }
  CHECK(text.find("NR 45") != std::string::npos);
}

TEST_CASE("a calibration with nothing of the room reads back equal") {
  const Calibration empty = test::example_calibration();
  CHECK(parse_calibration(format_calibration(empty), "c.json") == empty);
  CHECK(!format_room(empty).empty());
}

TEST_SUITE_END();

}  // namespace ringtrue
