#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <random>
#include <string>

#include "ringtrue/placement/fit.hpp"
#include "ringtrue/placement/plan.hpp"

// What must hold in every room, whatever the layout.

namespace ringtrue {
namespace {

using Generator = std::mt19937;

double between(Generator& generator, double low, double high) {
  return low + (high - low) * static_cast<double>(generator()) / static_cast<double>(Generator::max());
}

PlanRequest random_request(Generator& generator) {
  PlanRequest request;
  request.ring = ring_of(layouts()[generator() % layouts().size()]);
  request.ear_height_m = between(generator, 1.0, 1.4);
  request.room_m = {between(generator, 2.6, 9.0), between(generator, 2.4, 7.0), between(generator, 1.8, 3.6)};
  request.distance_m = between(generator, 0.8, 3.0);
  if (generator() % 3 == 0) {  // anywhere with half a metre more than the clearance around
    request.listener = FloorSpot{between(generator, 0.9, request.room_m->at(0) - 0.9),
                                 between(generator, 0.9, request.room_m->at(1) - 0.9)};
  }
  return request;
}

bool finding_names(const Plan& plan, const std::string& code, const std::string& label) {
  return std::ranges::any_of(plan.findings, [&](const Finding& finding) {
    return finding.code == code && (finding.message.starts_with(label + ' ') ||
                                    finding.message.find(" and " + label + ' ') != std::string::npos);
  });
}

void check_inside(const Plan& plan, const PlannedSpeaker& speaker) {
  const auto [length_m, width_m, height_m] = *plan.request.room_m;
  const double c = plan.request.wall_clearance_m - 1e-6;
  const double from_front_m = plan.listener->from_front_m - speaker.place_m.y;
  const double from_left_m = plan.listener->from_left_m + speaker.place_m.x;
  CHECK(from_front_m >= c);
  CHECK(from_front_m <= length_m - c);
  CHECK(from_left_m >= c);
  CHECK(from_left_m <= width_m - c);
  CHECK(speaker.height_m > 0.0);
  CHECK(speaker.height_m <= height_m - plan.request.ceiling_clearance_m + 1e-6);
}

void check_angles(const Plan& plan, const PlannedSpeaker& speaker) {
  if (is_in_range(speaker.speaker, speaker.direction)) return;
  if (speaker.speaker.kind == SpeakerKind::sub && !speaker.speaker.range) return;
  CHECK(finding_names(plan, "place-out-of-range", speaker.speaker.label));
}

void check_distance(const Plan& plan, const PlannedSpeaker& speaker) {
  if (speaker.speaker.kind == SpeakerKind::sub) return;
  CHECK(speaker.distance_m >= std::min(nearest_speaker_m, plan.distance_m));
  CHECK(speaker.distance_m <= plan.distance_m);
  if (speaker.distance_m < plan.distance_m) {
    CHECK(finding_names(plan, "unequal-distance", speaker.speaker.label));
  }
}

void check_mirror_image(const Plan& plan, std::size_t i) {
  const auto partner = partner_of(plan.request.ring, i);
  if (!partner) return;
  const Point& here = plan.speakers[i].place_m;
  const Point& there = plan.speakers[*partner].place_m;
  CHECK(here.x == -there.x);
  CHECK(here.y == there.y);
  CHECK(here.z == there.z);
}

/// The mark, paced out from its two walls, must lead back to the place.
void check_mark(const Plan& plan, const PlannedSpeaker& speaker) {
  const auto [length_m, width_m, height_m] = *plan.request.room_m;
  const WallDistance& lengthways = speaker.mark->lengthways;
  const WallDistance& sideways = speaker.mark->sideways;
  const double from_front_m =
      lengthways.wall == Surface::front_wall ? lengthways.distance_m : length_m - lengthways.distance_m;
  const double from_left_m = sideways.wall == Surface::left_wall ? sideways.distance_m : width_m - sideways.distance_m;
  CHECK(std::abs(plan.listener->from_front_m - from_front_m - speaker.place_m.y) < 1e-9);
  CHECK(std::abs(from_left_m - plan.listener->from_left_m - speaker.place_m.x) < 1e-9);
  CHECK(lengthways.distance_m <= 0.5 * length_m + 0.001);
  CHECK(sideways.distance_m <= 0.5 * width_m + 0.001);
}

void check_cable(const PlannedSpeaker& speaker) {
  double bought_m = 0.0;
  for (const double piece_m : speaker.cable.pieces_m) bought_m += piece_m;
  CHECK(bought_m >= speaker.cable.run_m - 1e-6);
  CHECK(speaker.cable.run_m >= speaker.height_m + slack_m);
}

}  // namespace

TEST_CASE("in 600 random rooms every plan keeps its promises") {
  Generator generator{20'260'401};
  for (int round = 0; round < 600; ++round) {
    const PlanRequest request = random_request(generator);
    CAPTURE(round);
    CAPTURE(request.ring.layout);
    CAPTURE(request.room_m->at(0));
    CAPTURE(request.room_m->at(1));
    CAPTURE(request.room_m->at(2));
    const Plan plan = make_plan(request);
    CHECK(plan.distance_m <= request.distance_m);
    REQUIRE(plan.speakers.size() == request.ring.speakers.size());
    for (std::size_t i = 0; i < plan.speakers.size(); ++i) {
      CAPTURE(plan.speakers[i].speaker.label);
      check_inside(plan, plan.speakers[i]);
      check_angles(plan, plan.speakers[i]);
      check_distance(plan, plan.speakers[i]);
      check_mirror_image(plan, i);
      check_mark(plan, plan.speakers[i]);
      check_cable(plan.speakers[i]);
    }
  }
}

TEST_CASE("a larger room never gives a smaller ring") {
  Generator generator{7};
  for (int round = 0; round < 100; ++round) {
    PlanRequest request = random_request(generator);
    request.listener.reset();
    const double before_m = make_plan(request).distance_m;
    for (double& side_m : *request.room_m) side_m *= 1.3;
    CAPTURE(round);
    CHECK(make_plan(request).distance_m >= before_m - 0.011);  // whole centimetres
  }
}

TEST_CASE("an ample room has no finding about fit") {
  for (const Layout& layout : layouts()) {
    CAPTURE(layout.code);
    PlanRequest request;
    request.ring = ring_of(layout);
    request.room_m = {9.0, 8.0, 4.0};
    for (const Finding& finding : make_plan(request).findings) {
      CHECK(finding.code == "crowded-floor");  // stands of two layers, one above the other
    }
  }
}

}  // namespace ringtrue
