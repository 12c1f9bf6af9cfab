#include "ringtrue/placement/plan.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <functional>
#include <limits>
#include <numbers>
#include <string>

#include "ringtrue/core/errors.hpp"
#include "ringtrue/rig/rig_file.hpp"

namespace ringtrue {
namespace {

PlanRequest request_for(const char* layout) {
  PlanRequest request;
  request.ring = ring_of(*find_layout(layout));
  return request;
}

PlanRequest in_room(const char* layout, double length_m, double width_m, double height_m) {
  PlanRequest request = request_for(layout);
  request.room_m = {length_m, width_m, height_m};
  return request;
}

const PlannedSpeaker& of(const Plan& plan, const std::string& label) {
  const auto found = std::ranges::find_if(
      plan.speakers, [&](const PlannedSpeaker& speaker) { return speaker.speaker.label == label; });
  REQUIRE(found != plan.speakers.end());
  return *found;
}

std::string refusal(const std::function<void(PlanRequest&)>& spoil) {
  PlanRequest request = in_room("7.1.4", 5.2, 4.4, 2.6);
  spoil(request);
  try {
    static_cast<void>(make_plan(request));
  } catch (const InvalidInput& error) {
    return error.what();
  }
  return "accepted";
}

}  // namespace

TEST_CASE("a stereo pair in a room of 5 x 4 m stands where a tape finds it") {
  // By hand, ring of 2 m at 30 degrees: 1 m to each side, 2 cos 30 = 1.732 m ahead. In front of the ear the ring needs
  // 1.732 + 0.4, behind it a chair's 0.8; the spare 2.068 m are halved: the ear is 3.166, rounded 3.17 m from the
  // front.
  const Plan plan = make_plan(in_room("stereo", 5.0, 4.0, 2.5));
  CHECK(plan.distance_m == 2.0);
  CHECK(plan.listener->from_front_m == doctest::Approx(3.17).epsilon(1e-12));
  CHECK(plan.listener->from_left_m == 2.0);
  CHECK(plan.listener_mark->lengthways.wall == Surface::back_wall);  // 1.83 m, nearer than 3.17
  CHECK(plan.listener_mark->lengthways.distance_m == doctest::Approx(1.83));
  const PlannedSpeaker& left = of(plan, "L");
  CHECK(left.mark->lengthways.wall == Surface::front_wall);
  CHECK(left.mark->lengthways.distance_m == doctest::Approx(3.17 - std::sqrt(3.0)));
  CHECK(left.mark->sideways.wall == Surface::left_wall);
  CHECK(left.mark->sideways.distance_m == doctest::Approx(1.0));
  CHECK(of(plan, "R").mark->sideways.wall == Surface::right_wall);
  CHECK(left.height_m == 1.2);
  CHECK(left.tilt_down_deg == 0.0);
  REQUIRE(left.neighbours.size() == 1);
  CHECK(left.neighbours[0].distance_m == doctest::Approx(2.0));  // an equilateral triangle
}

TEST_CASE("runs and cables of that pair add up by hand") {
  // L: 1 m along the front wall, 1.438 m into the room, up 1.2 m, 1 m slack: 4.638 m. Microphone: 3.17 + 1.2 + 1 m.
  const Plan plan = make_plan(in_room("stereo", 5.0, 4.0, 2.5));
  CHECK(of(plan, "L").cable.run_m == doctest::Approx(1.0 + 3.17 - std::sqrt(3.0) + 1.2 + 1.0));
  CHECK(of(plan, "L").cable.pieces_m == std::vector<double>{5.0});
  CHECK(plan.microphone_cable.run_m == doctest::Approx(5.37));
  CHECK(plan.microphone_cable.pieces_m == std::vector<double>{7.5});
  CHECK(count_cables(plan) == CableCount{{5.0, 2}, {7.5, 1}});
  CHECK(count_mains_leads(plan).empty());
}

TEST_CASE("an overhead at 30 degrees is as high as half its distance above the ear, and tilts down by its elevation") {
  const Plan plan = make_plan(request_for("7.1.4"));
  const PlannedSpeaker& overhead = of(plan, "Ltf");
  CHECK(overhead.height_m == doctest::Approx(1.2 + 2.0 * 0.5));
  CHECK(overhead.tilt_down_deg == 30.0);
  CHECK(overhead.mounting == Mounting::tall_stand);
  CHECK(overhead.mains_lead->run_m == doctest::Approx(2.2 + 1.0));
  CHECK(overhead.mains_lead->pieces_m == std::vector<double>{5.0});
  CHECK_FALSE(of(plan, "Lss").mains_lead.has_value());
  CHECK(customary_overhead_height_m(1.2) == 2.4);  // common practice: twice the ear height
}

TEST_CASE("neighbours are chords: 2 r sin of half the angle between them") {
  const Plan plan = make_plan(request_for("7.1"));
  const auto chord_m = [](double angle_deg) { return 4.0 * std::sin(angle_deg / 2.0 * std::numbers::pi / 180.0); };
  const PlannedSpeaker& rear = of(plan, "Lrs");
  CHECK(plan.speakers[rear.neighbours[0].speaker].speaker.label == "Lss");
  CHECK(rear.neighbours[0].distance_m == doctest::Approx(chord_m(45.0)));
  CHECK(plan.speakers[rear.neighbours[1].speaker].speaker.label == "Rrs");
  CHECK(rear.neighbours[1].distance_m == doctest::Approx(chord_m(90.0)));
  const PlannedSpeaker& sub = of(plan, "LFE");
  for (const Neighbour& neighbour : sub.neighbours) {
    CHECK(plan.speakers[neighbour.speaker].speaker.kind == SpeakerKind::main);
  }
}

TEST_CASE("a place and its distances agree with the worked multilateration example") {
  // Source: reference/method_checks.csv, ml_r0..ml_r4, ml_az, ml_el: s = (2, 1.5, 0.8), azimuth there counted from x.
  PlanRequest request;
  request.distance_m = 2.6248809496813377;
  add_speaker(request.ring, "S", {36.86989764584402 - 90.0, 17.744671625056935});
  const Point s = make_plan(request).speakers[0].place_m;
  CHECK(distance_m(s, {2.0, 1.5, 0.8}) < 1e-9);
  CHECK(std::abs(distance_m(s, {0.2, 0.0, 0.0}) - 2.4758836806279896) < 1e-9);
  CHECK(std::abs(distance_m(s, {0.0, 0.2, 0.0}) - 2.515949125081825) < 1e-9);
  CHECK(std::abs(distance_m(s, {0.0, 0.0, 0.2}) - 2.570992026436488) < 1e-9);
  CHECK(std::abs(distance_m(s, {-0.2, -0.1, 0.1}) - 2.8089143810376282) < 1e-9);
}

TEST_CASE("the listener and the interface stay where they were put") {
  PlanRequest request = in_room("5.1", 6.0, 5.0, 2.6);
  request.listener = FloorSpot{2.5, 2.2};
  request.interface = FloorSpot{1.0, 0.0};
  const Plan plan = make_plan(request);
  CHECK(plan.listener->from_front_m == 2.5);
  CHECK(plan.listener->from_left_m == 2.2);
  // By hand: Ls at 110 degrees reaches (2.2 - 0.4) / sin 110 = 1.9155 m, so the ring is 1.91 m and C 0.59 m from the
  // wall.
  CHECK(of(plan, "C").mark->lengthways.distance_m == doctest::Approx(0.59));
  CHECK(of(plan, "C").mark->sideways.wall == Surface::left_wall);
  // C: 1 m along the left wall to the corner, 2.2 m along the front wall, 0.59 m into the room, up 1.2 m, 1 m slack.
  CHECK(of(plan, "C").cable.run_m == doctest::Approx(1.0 + 2.2 + 0.59 + 1.2 + 1.0));
}

TEST_CASE("without a room there are no marks from walls, but places, heights and cables") {
  const Plan plan = make_plan(request_for("7.1.4"));
  CHECK_FALSE(plan.listener.has_value());
  CHECK_FALSE(plan.interface.has_value());
  for (const PlannedSpeaker& speaker : plan.speakers) {
    CHECK_FALSE(speaker.mark.has_value());
    CHECK(speaker.cable.run_m > slack_m);
    CHECK(speaker.cable.run_m < 20.0);
  }
}

TEST_CASE("speakers straight above the listener are hung, those below stand low, subs on the floor") {
  const Plan plan = make_plan(in_room("22.2", 7.0, 6.0, 3.2));
  CHECK(of(plan, "Tc").mounting == Mounting::hung);
  CHECK(of(plan, "Tc").tilt_down_deg == 90.0);
  CHECK(of(plan, "Cb").mounting == Mounting::low_stand);
  CHECK(of(plan, "LFE2").mounting == Mounting::on_floor);
  CHECK(of(plan, "Cs").mounting == Mounting::stand);
}

TEST_CASE("the rig of a plan reads back equal and is ready to measure") {
  PlanRequest request = in_room("9.1.6", 6.0, 5.0, 2.8);
  request.name = "Garden \"room\"";
  request.ear_height_m = 1.15;
  const Rig rig = rig_of(make_plan(request));
  CHECK(parse_rig(format_rig(rig), "rig.toml") == rig);
  CHECK(rig.layout == "9.1.6");
  CHECK(rig.room.ear_height_m == 1.15);
  REQUIRE(rig.speakers.size() == 16);
  CHECK(rig.speakers[3].kind == SpeakerKind::sub);
  CHECK(rig.speakers[3].band == Band{Hertz{20.0}, Hertz{200.0}});
  // Source: the default set of spots, issue text: the ear point, 25 cm right, 25 cm forward, 25 cm up.
  REQUIRE(rig.positions.size() == 4);
  CHECK(rig.positions[0].offset_m == Point{});
  CHECK(rig.positions[1].offset_m == Point{0.25, 0.0, 0.0});
  CHECK(rig.positions[2].offset_m == Point{0.0, 0.25, 0.0});
  CHECK(rig.positions[3].offset_m == Point{0.0, 0.0, 0.25});
}

TEST_CASE("requests that cannot be planned are refused with what to do") {
  CHECK(refusal([](PlanRequest& r) { r.ring.speakers.clear(); }) ==
        "plan: there is no speaker; name a layout or speakers");
  CHECK(refusal([](PlanRequest& r) { r.distance_m = -1.0; }) ==
        "distance: -1 m is not between 0.7 and 50 m; give the metres from the ear to the speakers, e.g. 2.0");
  CHECK(refusal([](PlanRequest& r) { r.distance_m = std::numeric_limits<double>::quiet_NaN(); }) != "accepted");
  CHECK(refusal([](PlanRequest& r) { r.ear_height_m = 0.1; }) ==
        "ear height: 0.1 m is not between 0.2 and 20 m; give the height of the listener's ears above the floor in "
        "metres, e.g. 1.2");
  CHECK(refusal([](PlanRequest& r) { r.ear_height_m = 2.4; }) ==
        "ear height: ears at 2.4 m leave less than 0.3 m to the ceiling at 2.6 m; correct it or the room's height, the "
        "third number");
  CHECK(refusal([](PlanRequest& r) {
          r.room_m = {5.2, -4.4, 2.6};
        }) == "room: -4.4 m is not between 1 and 100 m; give length x width x height in metres, e.g. 5.2x4.4x2.6");
  CHECK(refusal([](PlanRequest& r) {
          r.room_m = {5.2, 1.2, 2.6};
        }) ==
        "room: only 0.20 m are left beside the listener with 0.4 m kept free along the walls; correct the room's size, "
        "the listener's place or the clearance");
  CHECK(refusal([](PlanRequest& r) {
          r.room_m = {1.5, 4.4, 2.6};
        }) ==
        "room: no ring of 0.7 m has a place around the listener with 0.4 m kept free along the walls; correct the "
        "room's size, the listener's place or the clearance");
  CHECK(refusal([](PlanRequest& r) {
          r.listener = FloorSpot{5.3, 2.0};
        }) ==
        "listener: 5.3 m from the front wall, 2 m from the left wall is not in a room of 5.2 x 4.4 m; measure from the "
        "front wall first, then from the left one");
  CHECK(refusal([](PlanRequest& r) {
          r.room_m.reset();
          r.interface = FloorSpot{0.0, 1.0};
        }) == "interface: its place is measured from walls, but no room is known; give the room's size, too");
  CHECK(refusal([](PlanRequest& r) { r.wall_clearance_m = -0.1; }) != "accepted");
  CHECK(refusal([](PlanRequest& r) { r.ceiling_clearance_m = 6.0; }) != "accepted");
  CHECK(refusal([](PlanRequest&) {}) == "accepted");
}

}  // namespace ringtrue
