#include "plan_words.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "ringtrue/placement/angle_words.hpp"
#include "ringtrue/report/text_layout.hpp"

namespace ringtrue::plan_words {
namespace {

// Allowances: WHO-ITU H.870, 80 dB(A) for 40 hours a week, 3 dB more halve the time.
constexpr std::array<Caution, 7> all_cautions{{
    {"Local rules come first",
     "This sheet does arithmetic; it does not judge your building. Electrical and building codes where you live, the "
     "makers' instructions, and the word of licensed electricians and riggers go before it. Whatever hangs above "
     "people, and any fixed wiring, is their work."},
    {"Tall stands",
     "Weigh the box and read what the stand and its boom are rated for. Spread the legs fully, turn one of them under "
     "the load, lay sandbags on the others. A box on a boom leans: its weight must stay inside the feet. Lean on the "
     "stand before you trust it."},
    {"Above heads",
     "Everything that is higher than a head gets a second, separate fastening: a safety cable rated for the weight, to "
     "the stand or to the building. Raise and lower with two people, nobody below."},
    {"Switch on before you raise",
     "Check each overhead on the floor first: mains, input level, filter switches, the right output. Then switch "
     "everything off, raise it, and switch it on last."},
    {"Leads on the floor",
     "Lay leads along the walls and down the back of the stand, never across a door or the way to the chair. Tape them "
     "or cover them, and leave a loop at the foot so that a foot in a lead pulls no stand over."},
    {"Mains",
     "Use earthed extension leads, unrolled to the end; no strip into a strip. Add up what hangs on one socket "
     "circuit. "
     "Never lift an earth to cure a hum. Signal leads cross mains leads at right angles."},
    {"Ears",
     "Start with the monitors turned down. 70 to 75 dB at the chair is plenty. 80 dB(A) may last 40 hours a week, 100 "
     "dB(A) only 24 minutes (WHO-ITU H.870)."},
}};

bool is_overhead(const PlannedSpeaker& speaker) { return speaker.mains_lead.has_value(); }

std::string room_fact(const Plan& plan) {
  if (!plan.request.room_m) return "No room was given: marks count from the spot below the ear point.";
  const auto [length_m, width_m, height_m] = *plan.request.room_m;
  return fmt::format("Room {:.2f} x {:.2f} x {:.2f} m (length, width, height).", length_m, width_m, height_m);
}

std::string ear_fact(const Plan& plan) {
  const std::string height = fmt::format("Ear point: {:.2f} m above the floor", plan.request.ear_height_m);
  return plan.listener_mark ? height + ", " + mark(*plan.listener_mark) + '.' : height + '.';
}

std::string plural(std::ptrdiff_t count, const std::string& what) {
  return fmt::format("{} {}{}", count, what, count == 1 ? "" : "s");
}

}  // namespace

const std::array<Caution, 7>& cautions() { return all_cautions; }

std::string title(const Plan& plan) {
  const Ring& ring = plan.request.ring;
  const std::string count = plural(static_cast<std::ptrdiff_t>(plan.speakers.size()), "loudspeaker");
  const std::string name = plan.request.name.empty() ? "" : text::printable(plan.request.name) + ": ";
  if (ring.known == nullptr) return name + ring.layout + ", " + count;
  const std::string_view everyday = ring.known->trade_names.front();
  if (ring.known->bs2051_name.empty()) return fmt::format("{}{}, {}", name, everyday, count);
  return fmt::format("{}{} (ITU-R BS.2051 {}), {}", name, everyday, ring.known->bs2051_name, count);
}

std::vector<std::string> facts(const Plan& plan) {
  std::vector<std::string> lines{room_fact(plan), ear_fact(plan)};
  lines.push_back(
      fmt::format("Distance of the ring: {:.2f} m from the ear point to the acoustic centres.", plan.distance_m));
  const std::string rule = overhead_rule(plan);
  if (!rule.empty()) lines.push_back(rule);
  return lines;
}

std::string mark(const FloorMark& mark) {
  return fmt::format("{:.2f} m from the {}, {:.2f} m from the {}", mark.lengthways.distance_m,
                     name(mark.lengthways.wall), mark.sideways.distance_m, name(mark.sideways.wall));
}

FloorMark from_ear(const PlannedSpeaker& speaker) {
  const Point& p = speaker.place_m;
  const double rounding_m = 0.0005;
  return {{p.y < -rounding_m ? Surface::back_wall : Surface::front_wall, std::abs(p.y)},
          {p.x > rounding_m ? Surface::right_wall : Surface::left_wall, std::abs(p.x)}};
}

std::string_view side(Surface wall) {
  const std::string_view words = name(wall);
  return words.substr(0, words.find(' '));
}

std::string tilt(const PlannedSpeaker& speaker) {
  if (speaker.mounting == Mounting::on_floor) return "-";
  const std::string angle = degrees(std::abs(speaker.tilt_down_deg));
  if (angle == "0") return "level";
  return angle + (speaker.tilt_down_deg > 0.0 ? " down" : " up");
}

std::string pieces(const CableRun& cable) {
  std::string words;
  for (const double piece_m : cable.pieces_m) words += fmt::format("{}{:g}", words.empty() ? "" : " + ", piece_m);
  return words + " m";
}

std::string in_words(const PlannedSpeaker& speaker) { return std::string{channel_name(speaker.speaker.label)}; }

std::string counted(const CableCount& counts) {
  std::string words;
  for (const auto& [length_m, count] : counts) {
    words += fmt::format("{}{} x {:g} m", words.empty() ? "" : ", ", count, length_m);
  }
  return words;
}

std::string stands(const Plan& plan) {
  std::string words;
  for (const Mounting mounting : {Mounting::stand, Mounting::tall_stand, Mounting::low_stand, Mounting::hung}) {
    const auto count = std::ranges::count(plan.speakers, mounting, &PlannedSpeaker::mounting);
    if (count == 0) continue;
    const std::string what = mounting == Mounting::hung ? "mount" : name(mounting);
    words += (words.empty() ? "" : ", ") + plural(count, what) + (mounting == Mounting::hung ? " on the ceiling" : "");
  }
  const auto overheads = std::ranges::count_if(plan.speakers, is_overhead);
  if (overheads > 0) words += ", " + plural(overheads, "safety cable");
  const bool tall = std::ranges::count(plan.speakers, Mounting::tall_stand, &PlannedSpeaker::mounting) > 0;
  if (tall) words += ", sandbags for every tall stand";
  return words.empty() ? "none" : words;
}

std::string mains_leads(const Plan& plan) {
  const CableCount counts = count_mains_leads(plan);
  return counts.empty() ? "each speaker's own" : counted(counts) + " for the overheads, to a strip at the foot";
}

std::string order_of_outputs(const Plan& plan) {
  return plan.request.ring.known == nullptr ? "in the order given" : "the common order of outputs";
}

std::string overhead_rule(const Plan& plan) {
  double low_m = 1e9;
  double high_m = 0.0;
  for (const PlannedSpeaker& speaker : plan.speakers) {
    if (!is_overhead(speaker)) continue;
    low_m = std::min(low_m, speaker.height_m);
    high_m = std::max(high_m, speaker.height_m);
  }
  if (high_m == 0.0) return {};
  const std::string here =
      high_m - low_m < 0.005 ? fmt::format("{:.2f} m", low_m) : fmt::format("{:.2f} to {:.2f} m", low_m, high_m);
  return fmt::format(
      "Overheads: {} above the floor. Common practice (a rule of thumb, no standard) is about twice the "
      "ear height, here {:.2f} m.",
      here, customary_overhead_height_m(plan.request.ear_height_m));
}

std::string_view microphone_guidance() {
  return "The tip of the mic goes where the middle of your head will be, pointing up; mark the floor below it. Then "
         "move "
         "the stand by the tape, without turning or raising it; for the last spot go back to the mark and raise the "
         "tip. "
         "Keep to a centimetre: it turns everything by 2 degrees. One recording at each spot, in this order, proves "
         "the "
         "wiring and finds where each speaker stands; for distances add the loopback, or one distance by tape "
         "(--known-distance).";
}

std::string microphone_spot(Point offset_m) {
  if (offset_m == Point{}) return "at the ear point";
  std::string words;
  const auto add = [&](double metres, const char* positive, const char* negative) {
    if (metres == 0.0) return;
    words += fmt::format("{}{:.0f} cm {}", words.empty() ? "" : ", ", std::abs(metres) * 100.0,
                         metres > 0.0 ? positive : negative);
  };
  add(offset_m.x, "to the right", "to the left");
  add(offset_m.y, "forward", "back");
  add(offset_m.z, "up", "down");
  return words;
}

}  // namespace ringtrue::plan_words
