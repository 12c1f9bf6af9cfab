#include "ringtrue/report/plan_sheet.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "plan_words.hpp"
#include "ringtrue/placement/angle_words.hpp"
#include "ringtrue/report/text_layout.hpp"

namespace ringtrue {
namespace {

using text::padded;
using text::wrapped;

constexpr std::size_t label_columns = 7;
constexpr std::size_t neighbour_columns = 10;

std::string heading(const std::string& words) { return '\n' + words + '\n' + std::string(words.size(), '-') + '\n'; }

std::string without_trailing_blanks(std::string line) {
  line.erase(line.find_last_not_of(' ') + 1);
  return line;
}

std::string label(const PlannedSpeaker& speaker) { return padded(speaker.speaker.label, label_columns); }

/// A distance in 4 columns.
std::string short_metres(double metres) {
  return fmt::format("{:.{}f}", metres, metres < 9.995 ? 2 : metres < 99.95 ? 1 : 0);
}

std::string findings(const Plan& plan) {
  std::string lines;
  for (const Finding& finding : plan.findings) {
    const char* sign = finding.severity == Severity::note ? "  - " : "  ! ";
    lines += wrapped(fmt::format("{} [{}]", finding.message, finding.code), sign);
  }
  return lines.empty() ? "\nEverything fits: nothing had to give.\n" : heading("What had to give") + lines;
}

std::string floor_mark(const PlannedSpeaker& speaker) {
  const FloorMark mark = speaker.mark.value_or(plan_words::from_ear(speaker));
  return fmt::format("{:<5} {:>5.2f}  {:<5} {:>5.2f}", plan_words::side(mark.lengthways.wall),
                     mark.lengthways.distance_m, plan_words::side(mark.sideways.wall), mark.sideways.distance_m);
}

std::string neighbours(const Plan& plan, const PlannedSpeaker& speaker) {
  std::string words;
  for (const Neighbour& neighbour : speaker.neighbours) {
    const std::string distance = short_metres(neighbour.distance_m);
    std::string other = plan.speakers[neighbour.speaker].speaker.label;
    const std::size_t longest = neighbour_columns - 1 - distance.size();
    if (other.size() > longest) other = padded(other, longest);
    if (!words.empty()) words += ' ';
    words += padded(fmt::format("{} {}", other, distance), neighbour_columns);
  }
  return words;
}

std::string places(const Plan& plan) {
  std::string lines = heading("Where each stands (metres)");
  lines +=
      wrapped(plan.listener ? "Floor marks are measured from the nearer walls, the height to the acoustic centre "
                              "(about the tweeter), the distance from the ear point. Check with a tape from centre "
                              "to centre of two neighbours."
                            : "Floor marks are measured from the spot below the ear point, the height to the "
                              "acoustic centre (about the tweeter), the distance from the ear point. Check with a "
                              "tape from centre to centre of two neighbours.");
  lines += fmt::format("{:>3} {} {:<24} {:>6} {:<7} {:>5}  {}\n", "Out", padded("Speaker", label_columns),
                       plan.listener ? "Floor mark from walls" : "Floor mark from the ear", "Height", "Tilt", "Ear",
                       "Neighbours");
  for (const PlannedSpeaker& speaker : plan.speakers) {
    lines +=
        without_trailing_blanks(fmt::format("{:>3} {} {:<24} {:>6.2f} {:<7} {:>5.2f}  {}", speaker.speaker.output,
                                            label(speaker), floor_mark(speaker), speaker.height_m,
                                            plan_words::tilt(speaker), speaker.distance_m, neighbours(plan, speaker))) +
        '\n';
  }
  return lines;
}

std::string allowed(const std::optional<AngleRange>& range) {
  if (!range) return "no range";
  return fmt::format("{:<13} {}", degrees_between(range->az_min_deg, range->az_max_deg),
                     degrees_between(range->el_min_deg, range->el_max_deg));
}

std::string angles(const Plan& plan) {
  std::string lines = heading("Angles from the ear point (degrees)");
  lines += wrapped(
      "Azimuth from the front, positive to the left; elevation positive up. A sub's nominal angle is a "
      "place holder of the standard: a sub stands where the room takes it.");
  lines += fmt::format("{:>3} {} {:>7} {:>9}  {:>14}  {}\n", "Out", padded("Speaker", label_columns), "Azimuth",
                       "Elevation", "Nominal az, el", "Allowed az, el");
  for (const PlannedSpeaker& planned : plan.speakers) {
    const RingSpeaker& speaker = planned.speaker;
    lines += fmt::format("{:>3} {} {:>7} {:>9}  {:>9} {:>4}  {}\n", speaker.output, label(planned),
                         degrees(planned.direction.azimuth_deg), degrees(planned.direction.elevation_deg),
                         degrees(speaker.nominal.azimuth_deg), degrees(speaker.nominal.elevation_deg),
                         allowed(speaker.range));
  }
  return lines;
}

std::string patch_list(const Plan& plan) {
  std::string lines = heading("Patch list, to tick off (" + plan_words::order_of_outputs(plan) + ")");
  for (const PlannedSpeaker& speaker : plan.speakers) {
    lines += without_trailing_blanks(fmt::format("[ ] output {:>2} -> {} {}", speaker.speaker.output,
                                                 padded(speaker.speaker.label, 16), plan_words::in_words(speaker))) +
             '\n';
  }
  return lines + "[ ] input   1 <- measurement microphone\n";
}

std::string stands_and_cables(const Plan& plan) {
  std::string lines = heading("Stands and cables");
  lines +=
      wrapped(fmt::format("Runs go from the interface ({}) along the walls and up the stand, {:g} m slack included, "
                          "rounded up to lengths cables are sold in.",
                          plan.interface ? fmt::format("{:.2f} m from the front wall, {:.2f} m from the left wall",
                                                       plan.interface->from_front_m, plan.interface->from_left_m)
                                         : "in front of the ring",
                          slack_m));
  lines += fmt::format("{:>3} {} {:<13} {:>6}  {:>6}  {:<12} {}\n", "Out", padded("Speaker", label_columns), "Held by",
                       "Height", "Run", "Cable", "Mains lead");
  for (const PlannedSpeaker& speaker : plan.speakers) {
    lines +=
        fmt::format("{:>3} {} {:<13} {:>6.2f}  {:>6.2f}  {:<12} {}\n", speaker.speaker.output, label(speaker),
                    name(speaker.mounting), speaker.height_m, speaker.cable.run_m, plan_words::pieces(speaker.cable),
                    speaker.mains_lead ? plan_words::pieces(*speaker.mains_lead) : "its own");
  }
  lines +=
      fmt::format("    {} {:<13} {:>6.2f}  {:>6.2f}  {}\n", padded("Mic", label_columns), "mic stand",
                  plan.request.ear_height_m, plan.microphone_cable.run_m, plan_words::pieces(plan.microphone_cable));
  lines += wrapped(plan_words::stands(plan) + "; 1 mic stand", "Stands:      ");
  lines += wrapped(plan_words::counted(count_cables(plan)) + " (microphone included)", "Cables:      ");
  return lines + wrapped(plan_words::mains_leads(plan), "Mains leads: ");
}

std::string microphone(const Plan& plan) {
  std::string lines = heading("Microphone spots") + wrapped(plan_words::microphone_guidance());
  for (std::size_t i = 0; i < plan.microphone_m.size(); ++i) {
    lines += fmt::format("[ ] position {}: {}\n", i + 1, plan_words::microphone_spot(plan.microphone_m[i]));
  }
  return lines;
}

std::string cautions() {
  std::string lines = heading("Before you lift anything");
  for (const auto& caution : plan_words::cautions()) {
    lines += wrapped(fmt::format("{}. {}", caution.title, caution.text), "* ");
  }
  return lines;
}

}  // namespace

std::string format_plan_sheet(const Plan& plan) {
  std::string sheet = wrapped(plan_words::title(plan));
  for (const std::string& fact : plan_words::facts(plan)) sheet += wrapped(fact);
  return sheet + findings(plan) + places(plan) + angles(plan) + patch_list(plan) + stands_and_cables(plan) +
         microphone(plan) + cautions();
}

}  // namespace ringtrue
