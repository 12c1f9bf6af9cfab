#include "ringtrue/placement/plan.hpp"

#include <algorithm>
#include <cmath>
#include <map>

#include "plan_space.hpp"
#include "ringtrue/placement/fit.hpp"

namespace ringtrue {
namespace {

constexpr double mic_step_m = 0.25;     // the default spots of the contract's [[position]] tables: right, front, up
constexpr double lead_at_foot_m = 1.0;  // of a mains lead, from the stand's foot to the socket strip: a working value

double round_to_mm(double metres) { return std::round(metres * 1000.0) / 1000.0; }

/// The nearer of two opposite walls, the first when both are equally near.
WallDistance nearer(Surface first, double to_first_m, Surface second, double to_second_m) {
  if (round_to_mm(to_first_m) <= round_to_mm(to_second_m)) return {first, to_first_m};
  return {second, to_second_m};
}

FloorMark floor_mark(const Floor& floor, FloorSpot spot) {
  return {nearer(Surface::front_wall, spot.from_front_m, Surface::back_wall, floor.length_m - spot.from_front_m),
          nearer(Surface::left_wall, spot.from_left_m, Surface::right_wall, floor.width_m - spot.from_left_m)};
}

/// The floor cables are laid on, and where the ear point is above it. Without a room: as if walls stood around the
/// ring, so that cables go round the listener.
struct CableFloor {
  Floor floor;
  FloorSpot listener;
};

CableFloor cable_floor(const PlanRequest& request, const std::optional<FloorSpot>& listener, const FittedRing& ring) {
  if (listener) return {{request.room_m->at(0), request.room_m->at(1)}, *listener};
  Point low;
  Point high;
  for (const FittedSpeaker& speaker : ring.speakers) {
    const Point p = place(speaker.direction, speaker.distance_m);
    low = {std::min(low.x, p.x), std::min(low.y, p.y), 0.0};
    high = {std::max(high.x, p.x), std::max(high.y, p.y), 0.0};
  }
  const double c = request.wall_clearance_m;
  return {{high.y - low.y + 2.0 * c, high.x - low.x + 2.0 * c}, {high.y + c, c - low.x}};
}

FloorSpot spot_below(Point p, FloorSpot listener) { return {listener.from_front_m - p.y, listener.from_left_m + p.x}; }

Mounting mounting_of(const PlannedSpeaker& speaker) {
  constexpr double about_ear_height_m = 0.3;
  if (speaker.speaker.kind == SpeakerKind::sub) return Mounting::on_floor;
  if (speaker.place_m.z < -about_ear_height_m) return Mounting::low_stand;
  if (speaker.place_m.z <= about_ear_height_m) return Mounting::stand;
  return std::hypot(speaker.place_m.x, speaker.place_m.y) < nearest_speaker_m ? Mounting::hung : Mounting::tall_stand;
}

std::vector<Neighbour> neighbours_of(const std::vector<PlannedSpeaker>& speakers, std::size_t of) {
  std::vector<Neighbour> others;
  for (std::size_t i = 0; i < speakers.size(); ++i) {
    if (i != of) others.push_back({i, distance_m(speakers[i].place_m, speakers[of].place_m)});
  }
  std::ranges::stable_sort(others, {}, [&](const Neighbour& other) {  // sound of a sub says nothing about its place
    return std::pair{speakers[other.speaker].speaker.kind, round_to_mm(other.distance_m)};
  });
  others.resize(std::min<std::size_t>(others.size(), 2));
  return others;
}

PlannedSpeaker planned(const RingSpeaker& speaker, const FittedSpeaker& fitted, const PlanRequest& request) {
  PlannedSpeaker result;
  result.speaker = speaker;
  result.place_m = place(fitted.direction, fitted.distance_m);
  result.direction = fitted.direction;
  result.distance_m = fitted.distance_m;
  result.height_m = request.ear_height_m + result.place_m.z;
  result.tilt_down_deg = fitted.direction.elevation_deg;
  result.mounting = mounting_of(result);
  return result;
}

void add_cables(PlannedSpeaker& speaker, const CableFloor& on, FloorSpot interface) {
  const FloorSpot mark = spot_below(speaker.place_m, on.listener);
  speaker.cable = cable_for(way_along_walls_m(on.floor, interface, mark) + speaker.height_m + slack_m);
  const bool above = speaker.mounting == Mounting::tall_stand || speaker.mounting == Mounting::hung;
  if (above) speaker.mains_lead = cable_for(speaker.height_m + lead_at_foot_m, sold_mains_lengths_m);
}

/// Straight over the floor: it lies there only while measuring.
CableRun microphone_cable(const CableFloor& on, FloorSpot interface, double ear_height_m) {
  const double way_m =
      std::hypot(interface.from_front_m - on.listener.from_front_m, interface.from_left_m - on.listener.from_left_m);
  return cable_for(way_m + ear_height_m + slack_m);
}

void add_marks(Plan& plan) {
  if (!plan.listener) return;
  const Floor floor{plan.request.room_m->at(0), plan.request.room_m->at(1)};
  plan.listener_mark = floor_mark(floor, *plan.listener);
  for (PlannedSpeaker& speaker : plan.speakers) {
    speaker.mark = floor_mark(floor, spot_below(speaker.place_m, *plan.listener));
  }
}

void count(std::map<double, int>& counts, const CableRun& cable) {
  for (const double piece_m : cable.pieces_m) ++counts[piece_m];
}

Band default_band(SpeakerKind kind) {
  return kind == SpeakerKind::sub ? Band{Hertz{20.0}, Hertz{200.0}} : Speaker{}.band;
}

}  // namespace

const char* name(Mounting mounting) {
  switch (mounting) {
    case Mounting::stand: return "stand";
    case Mounting::tall_stand: return "tall stand";
    case Mounting::hung: return "hung";
    case Mounting::low_stand: return "low stand";
    case Mounting::on_floor: return "on the floor";
  }
  return "stand";
}

Plan make_plan(const PlanRequest& request) {
  check_request(request);
  Plan plan;
  plan.request = request;
  plan.listener = listener_place(request);
  const SpeakerSpace space = speaker_space(request, plan.listener);
  const FittedRing ring = fit_ring(request.ring, space, Metres{request.distance_m}, Metres{request.ear_height_m});
  plan.distance_m = ring.distance_m;
  plan.findings = explain_fit(request.ring, ring, Metres{request.distance_m});
  for (std::size_t i = 0; i < ring.speakers.size(); ++i) {
    plan.speakers.push_back(planned(request.ring.speakers[i], ring.speakers[i], request));
  }
  const CableFloor on = cable_floor(request, plan.listener, ring);
  const FloorSpot interface = request.interface.value_or(FloorSpot{0.0, on.listener.from_left_m});
  for (std::size_t i = 0; i < plan.speakers.size(); ++i) {
    plan.speakers[i].neighbours = neighbours_of(plan.speakers, i);
    add_cables(plan.speakers[i], on, interface);
  }
  if (plan.listener) plan.interface = interface;
  plan.microphone_cable = microphone_cable(on, interface, request.ear_height_m);
  plan.microphone_m = {{}, {mic_step_m, 0.0, 0.0}, {0.0, mic_step_m, 0.0}, {0.0, 0.0, mic_step_m}};
  add_marks(plan);
  return plan;
}

Rig rig_of(const Plan& plan) {
  Rig rig;
  rig.name = plan.request.name;
  rig.layout = plan.request.ring.layout;
  rig.room.size_m = plan.request.room_m;
  rig.room.ear_height_m = plan.request.ear_height_m;
  for (const PlannedSpeaker& planned : plan.speakers) {
    const RingSpeaker& speaker = planned.speaker;
    rig.speakers.push_back({speaker.label, speaker.output, speaker.kind, default_band(speaker.kind)});
    if (speaker.own_place) rig.speakers.back().nominal = speaker.nominal;
  }
  rig.positions.clear();
  for (const Point& offset_m : plan.microphone_m) rig.positions.push_back({offset_m});
  return rig;
}

CableCount count_cables(const Plan& plan) {
  std::map<double, int> counts;
  for (const PlannedSpeaker& speaker : plan.speakers) count(counts, speaker.cable);
  count(counts, plan.microphone_cable);
  return {counts.begin(), counts.end()};
}

CableCount count_mains_leads(const Plan& plan) {
  std::map<double, int> counts;
  for (const PlannedSpeaker& speaker : plan.speakers) {
    if (speaker.mains_lead) count(counts, *speaker.mains_lead);
  }
  return {counts.begin(), counts.end()};
}

}  // namespace ringtrue
