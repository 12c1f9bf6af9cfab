#include <cmath>
#include <nlohmann/json.hpp>

#include "plan_words.hpp"
#include "ringtrue/report/plan_sheet.hpp"

namespace ringtrue {
namespace {

using Json = nlohmann::ordered_json;

/// A tenth of a millimetre and of a thousandth of a degree: finer than any tape, and no noise of the last digit.
double rounded(double value) { return std::round(value * 10'000.0) / 10'000.0 + 0.0; }

Json as_json(Point p) { return Json::array({rounded(p.x), rounded(p.y), rounded(p.z)}); }

Json as_json(const std::optional<AngleRange>& range) {
  if (!range) return nullptr;
  return {{"azimuth_deg", {range->az_min_deg, range->az_max_deg}},
          {"elevation_deg", {range->el_min_deg, range->el_max_deg}}};
}

Json as_json(const WallDistance& distance) {
  return {{"wall", plan_words::side(distance.wall)}, {"distance_m", rounded(distance.distance_m)}};
}

Json as_json(const std::optional<FloorMark>& mark) {
  if (!mark) return nullptr;
  return Json::array({as_json(mark->lengthways), as_json(mark->sideways)});
}

Json as_json(const CableRun& cable) { return {{"run_m", rounded(cable.run_m)}, {"pieces_m", cable.pieces_m}}; }

Json as_json(const CableCount& counts) {
  Json list = Json::array();
  for (const auto& [length_m, count] : counts) list.push_back({{"length_m", length_m}, {"count", count}});
  return list;
}

Json neighbours(const Plan& plan, const PlannedSpeaker& speaker) {
  Json list = Json::array();
  for (const Neighbour& neighbour : speaker.neighbours) {
    list.push_back(
        {{"label", plan.speakers[neighbour.speaker].speaker.label}, {"distance_m", rounded(neighbour.distance_m)}});
  }
  return list;
}

Json text_or_null(const std::string& text) { return text.empty() ? Json{} : Json(text); }

Json as_json(const Plan& plan, const PlannedSpeaker& planned) {
  const RingSpeaker& speaker = planned.speaker;
  return {{"label", speaker.label},
          {"bs2051_label", text_or_null(speaker.bs2051_label)},
          {"name", text_or_null(plan_words::in_words(planned))},
          {"output", speaker.output},
          {"kind", name(speaker.kind)},
          {"nominal", {{"azimuth_deg", speaker.nominal.azimuth_deg}, {"elevation_deg", speaker.nominal.elevation_deg}}},
          {"allowed", as_json(speaker.range)},
          {"position_m", as_json(planned.place_m)},
          {"azimuth_deg", rounded(planned.direction.azimuth_deg)},
          {"elevation_deg", rounded(planned.direction.elevation_deg)},
          {"distance_m", rounded(planned.distance_m)},
          {"height_m", rounded(planned.height_m)},
          {"tilt_down_deg", rounded(planned.tilt_down_deg)},
          {"floor_mark", as_json(planned.mark)},
          {"neighbours", neighbours(plan, planned)},
          {"held_by", name(planned.mounting)},
          {"cable", as_json(planned.cable)},
          {"mains_lead", planned.mains_lead ? as_json(*planned.mains_lead) : Json{}}};
}

Json speakers(const Plan& plan) {
  Json list = Json::array();
  for (const PlannedSpeaker& speaker : plan.speakers) list.push_back(as_json(plan, speaker));
  return list;
}

Json microphone(const Plan& plan) {
  Json spots = Json::array();
  for (const Point& spot : plan.microphone_m) spots.push_back(as_json(spot));
  return {{"positions_m", std::move(spots)}, {"cable", as_json(plan.microphone_cable)}};
}

Json findings(const Findings& findings) {
  Json list = Json::array();
  for (const Finding& finding : findings) {
    list.push_back({{"severity", name(finding.severity)},
                    {"code", finding.code},
                    {"speaker", finding.speaker ? Json(*finding.speaker) : Json{}},
                    {"message", finding.message}});
  }
  return list;
}

Json room(const Plan& plan) {
  return {{"size_m", plan.request.room_m ? Json(*plan.request.room_m) : Json{}},
          {"ear_height_m", plan.request.ear_height_m},
          {"wall_clearance_m", plan.request.wall_clearance_m},
          {"ceiling_clearance_m", plan.request.ceiling_clearance_m}};
}

Json spot(const std::optional<FloorSpot>& spot) {
  if (!spot) return nullptr;
  return {{"from_front_m", rounded(spot->from_front_m)}, {"from_left_m", rounded(spot->from_left_m)}};
}

}  // namespace

std::string format_plan_json(const Plan& plan) {
  const Json all{{"schema", "ringtrue.plan/1"},
                 {"name", plan.request.name},
                 {"layout", plan.request.ring.layout},
                 {"room", room(plan)},
                 {"listener", spot(plan.listener)},
                 {"listener_mark", as_json(plan.listener_mark)},
                 {"interface", spot(plan.interface)},
                 {"wanted_distance_m", plan.request.distance_m},
                 {"distance_m", plan.distance_m},
                 {"speakers", speakers(plan)},
                 {"microphone", microphone(plan)},
                 {"cables", as_json(count_cables(plan))},
                 {"mains_leads", as_json(count_mains_leads(plan))},
                 {"findings", findings(plan.findings)}};
  return all.dump(2, ' ', false, Json::error_handler_t::replace) + '\n';
}

}  // namespace ringtrue
