#include "ringtrue/report/plan_sheet.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <nlohmann/json.hpp>
#include <sstream>
#include <string>

namespace ringtrue {
namespace {

PlanRequest sheet_request_for(const char* layout) {
  PlanRequest request;
  request.ring = ring_of(*find_layout(layout));
  request.room_m = {5.2, 4.4, 2.6};
  return request;
}

std::string sheet_of(const PlanRequest& request) { return format_plan_sheet(make_plan(request)); }

bool has(const std::string& text, std::string_view part) { return text.find(part) != std::string::npos; }

}  // namespace

TEST_CASE("a plan's sheet is ASCII of at most 80 columns without trailing blanks, for every layout") {
  for (const Layout& layout : layouts()) {
    CAPTURE(layout.code);
    PlanRequest request;
    request.ring = ring_of(layout);
    request.room_m = {30.0, 12.5, 14.0};  // wide numbers
    request.distance_m = 12.0;
    std::istringstream lines{sheet_of(request)};
    for (std::string line; std::getline(lines, line);) {
      CAPTURE(line);
      CHECK(line.size() <= 80);
      CHECK_FALSE(line.ends_with(' '));
      CHECK(std::ranges::all_of(line, [](char c) { return c >= ' ' && c <= '~'; }));
    }
  }
}

TEST_CASE("long labels of one's own are cut in tables and whole in the patch list") {
  PlanRequest request;
  add_speaker(request.ring, "Left-at-the-door", {45, 0});
  add_speaker(request.ring, "B", {-45, 0});
  const std::string sheet = sheet_of(request);
  CHECK(has(sheet, "[ ] output  1 -> Left-at-the-door\n"));
  CHECK(has(sheet, "  1 Left-a~ "));
  CHECK(has(sheet, "Left~ 2.83\n"));  // B's neighbour, 2 sqrt 2 m away
}

TEST_CASE("the sheet shows places, angles, patch list, stands, cables, spots and cautions") {
  // Numbers by hand: the ring is 1.8 m (half of 4.4 m less 0.4 m); Ltf hangs 1.2 + 0.9 m high.
  const std::string sheet = sheet_of(sheet_request_for("7.1.4"));
  CHECK(sheet.starts_with("7.1.4 (ITU-R BS.2051 4+7+0), 12 loudspeakers\n"));
  CHECK(has(sheet, "\n  5 Lss     back   2.34  left   0.40   1.20 level    1.80  Lrs 1.38   Ltf 1.58\n"));
  CHECK(has(sheet, "\n  9 Ltf     front  1.76  left   1.10   2.10 30 down  1.80"));
  CHECK(has(sheet, "\n  5 Lss          90         0         90    0  85 to 110     0\n"));
  CHECK(has(sheet, "\n[ ] output  5 -> Lss              left side surround\n"));
  CHECK(has(sheet, "\n[ ] input   1 <- measurement microphone\n"));
  CHECK(has(sheet, "\n    Mic     mic stand       1.20    5.06  7.5 m\n"));
  CHECK(has(sheet, "\nStands:      7 stands, 4 tall stands, 4 safety cables, sandbags for every tall\n"));
  CHECK(has(sheet, "\n[ ] position 4: 25 cm up\n"));
  CHECK(has(sheet, "about twice the ear height, here 2.40 m."));
  for (const char* caution : {"Local rules come first", "Tall stands", "sandbags", "safety cable", "Switch on before",
                              "Leads on the floor", "Mains.", "80 dB(A) may last 40 hours a week"}) {
    CAPTURE(caution);
    CHECK(has(sheet, caution));
  }
}

TEST_CASE("a sheet says when nothing had to give, and which finding has to be looked at") {
  PlanRequest request = sheet_request_for("stereo");
  CHECK(has(sheet_of(request), "Everything fits: nothing had to give."));
  request = sheet_request_for("5.1.4");
  request.room_m = {5.0, 4.0, 1.7};
  CHECK(has(sheet_of(request), "\n  ! Ltf and Rtf have no place in the allowed range"));
}

TEST_CASE("without a room marks count from the spot below the ear") {
  PlanRequest request = sheet_request_for("5.1");
  request.room_m.reset();
  const std::string sheet = sheet_of(request);
  CHECK(has(sheet, "\n  1 L       front  1.73  left   1.00 "));  // 2 cos 30, 2 sin 30
  CHECK(has(sheet, "\n  6 Rs      back   0.68  right  1.88 "));  // 2 cos 70, 2 sin 70
}

TEST_CASE("a plan's JSON has the numbers of the sheet, with their unit in the key") {
  const auto json = nlohmann::json::parse(format_plan_json(make_plan(sheet_request_for("7.1.4"))));
  CHECK(json["schema"] == "ringtrue.plan/1");
  CHECK(json["distance_m"] == 1.8);
  CHECK(json["wanted_distance_m"] == 2.0);
  const auto& side = json["speakers"][4];
  CHECK(side["floor_mark"][0]["wall"] == "back");
  CHECK(side["floor_mark"][0]["distance_m"] == 2.34);
  CHECK(side["floor_mark"][1]["wall"] == "left");
  CHECK(side["floor_mark"][1]["distance_m"] == 0.4);
  CHECK(side["position_m"] == nlohmann::json::array({-1.8, 0.0, 0.0}));
  CHECK(side["neighbours"][0]["label"] == "Lrs");
  CHECK(side["mains_lead"].is_null());
  CHECK(json["speakers"][8]["tilt_down_deg"] == 30.0);
  CHECK(json["microphone"]["positions_m"].size() == 4);
  CHECK(json["findings"][0]["code"] == "shorter-ring");
}

}  // namespace ringtrue
