#include "plan_drawing.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "plan_words.hpp"
#include "scale_drawing.hpp"

namespace ringtrue {
namespace {

using drawing::Extent;
using drawing::ScaleDrawing;
using drawing::Spot;

constexpr double around_ring_m = 0.6;  // what is shown around a ring without a room

Spot from_above(Point p) { return {p.x, -p.y}; }
Spot from_the_side(Point p) { return {-p.y, -p.z}; }

const char* layer(const PlannedSpeaker& speaker) {
  switch (speaker.mounting) {
    case Mounting::on_floor: return "sub";
    case Mounting::tall_stand:
    case Mounting::hung: return "above";
    case Mounting::low_stand: return "below";
    case Mounting::stand: return "level";
  }
  return "level";
}

Extent around(const std::vector<Spot>& spots) {
  Extent extent;
  for (const Spot& spot : spots) {
    extent.low = {std::min(extent.low.u, spot.u), std::min(extent.low.v, spot.v)};
    extent.high = {std::max(extent.high.u, spot.u), std::max(extent.high.v, spot.v)};
  }
  return {{extent.low.u - around_ring_m, extent.low.v - around_ring_m},
          {extent.high.u + around_ring_m, extent.high.v + around_ring_m}};
}

template <class Project>
std::vector<Spot> spots_of(const Plan& plan, Project project) {
  std::vector<Spot> spots;
  for (const PlannedSpeaker& speaker : plan.speakers) spots.push_back(project(speaker.place_m));
  return spots;
}

Extent floor_extent(const Plan& plan) {
  if (!plan.listener) return around(spots_of(plan, from_above));
  const auto [length_m, width_m, height_m] = *plan.request.room_m;
  return {{-plan.listener->from_left_m, -plan.listener->from_front_m},
          {width_m - plan.listener->from_left_m, length_m - plan.listener->from_front_m}};
}

Extent side_extent(const Plan& plan) {
  const double floor_v = plan.request.ear_height_m;
  if (!plan.listener) {
    Extent extent = around(spots_of(plan, from_the_side));
    extent.high.v = floor_v;
    return extent;
  }
  const auto [length_m, width_m, height_m] = *plan.request.room_m;
  return {{-plan.listener->from_front_m, floor_v - height_m}, {length_m - plan.listener->from_front_m, floor_v}};
}

void draw_allowed_azimuths(ScaleDrawing& paper, const PlannedSpeaker& planned) {
  const auto& range = planned.speaker.range;
  if (planned.speaker.kind == SpeakerKind::sub || !range || range->az_min_deg == range->az_max_deg) return;
  const double radius_m = std::hypot(planned.place_m.x, planned.place_m.y);
  paper.arc(radius_m, range->az_min_deg, range->az_max_deg, fmt::format("allowed {}", layer(planned)));
}

void draw_interface(ScaleDrawing& paper, const Plan& plan) {
  if (!plan.interface) return;
  const Spot at{plan.interface->from_left_m - plan.listener->from_left_m,
                plan.interface->from_front_m - plan.listener->from_front_m};
  paper.interface_box(at);
  paper.label(at, "interface", "note");
}

/// Speakers that fall on one spot of the paper share a label.
struct Group {
  Spot at;
  std::string labels;
  std::string css_class;
  double height_m;
};

std::vector<Group> groups_from_the_side(const Plan& plan) {
  constexpr double same_m = 0.05;
  std::vector<Group> groups;
  for (const PlannedSpeaker& speaker : plan.speakers) {
    const Spot at = from_the_side(speaker.place_m);
    const auto same = std::ranges::find_if(
        groups, [&](const Group& group) { return std::hypot(group.at.u - at.u, group.at.v - at.v) < same_m; });
    if (same != groups.end()) {
      same->labels += ", " + speaker.speaker.label;
    } else {
      groups.push_back({at, speaker.speaker.label, layer(speaker), speaker.height_m});
    }
  }
  return groups;
}

void draw_storey(ScaleDrawing& paper, const Plan& plan, const Extent& extent) {
  if (plan.listener) {
    paper.room("ceiling", "floor");
  } else {
    paper.line({extent.low.u, extent.high.v}, extent.high, "floor");
  }
  paper.line({extent.low.u, 0.0}, {extent.high.u, 0.0}, "ear-height");
}

std::string counted_words(const Plan& plan) {
  return fmt::format("{} loudspeakers around the ear point, the ring at {:.2f} m. The places are listed in the table.",
                     plan.speakers.size(), plan.distance_m);
}

}  // namespace

std::string draw_from_above(const Plan& plan) {
  const Extent extent = floor_extent(plan);
  ScaleDrawing paper{extent};
  if (plan.listener) paper.room("front wall", "back wall");
  paper.circle({}, plan.distance_m, "ring");
  for (const PlannedSpeaker& speaker : plan.speakers) draw_allowed_azimuths(paper, speaker);
  for (const PlannedSpeaker& speaker : plan.speakers) paper.loudspeaker(from_above(speaker.place_m), layer(speaker));
  paper.listener();
  draw_interface(paper, plan);
  for (const PlannedSpeaker& speaker : plan.speakers) {
    paper.label(from_above(speaker.place_m), speaker.speaker.label, fmt::format("label {}", layer(speaker)));
  }
  paper.scale_bar({extent.low.u, extent.high.v});
  return paper.finish("above", "Plan: the ring from above, the front at the top", counted_words(plan));
}

std::string draw_from_the_side(const Plan& plan) {
  const Extent extent = side_extent(plan);
  ScaleDrawing paper{extent};
  draw_storey(paper, plan, extent);
  const std::vector<Group> groups = groups_from_the_side(plan);
  for (const Group& group : groups) paper.line(group.at, {group.at.u, plan.request.ear_height_m}, "stand");
  for (const Group& group : groups) paper.loudspeaker(group.at, group.css_class);
  paper.listener();
  for (const Group& group : groups) paper.label(group.at, group.labels, "label " + group.css_class);
  paper.scale_bar({extent.low.u, extent.high.v});
  return paper.finish("side", "Side view: the ring from the left, the front on the left", counted_words(plan));
}

}  // namespace ringtrue
