#include <fmt/format.h>

#include <vector>

#include "html_table.hpp"
#include "html_text.hpp"
#include "plan_drawing.hpp"
#include "plan_page_style.hpp"
#include "plan_words.hpp"
#include "ringtrue/placement/angle_words.hpp"
#include "ringtrue/report/plan_sheet.hpp"

namespace ringtrue {
namespace {

using html::Column;
using html::escaped;
using html::table_end;
using html::table_head;
using html::table_row;

std::string who_words(const PlannedSpeaker& speaker) {
  const std::string words = plan_words::in_words(speaker);
  return fmt::format("{}{}output {}", words, words.empty() ? "" : ", ", speaker.speaker.output);
}

std::string heading(std::string_view id, std::string_view words) {
  return fmt::format("<h2 id=\"{}\">{}</h2>\n", id, escaped(words));
}

std::string findings(const Plan& plan) {
  std::string html = heading("gave", "What had to give");
  if (plan.findings.empty()) return html + "<p>Everything fits: nothing had to give.</p>\n";
  html += "<ul>\n";
  for (const Finding& finding : plan.findings) {
    const bool warns = finding.severity != Severity::note;
    html += fmt::format("<li>{}{}</li>\n", warns ? "<span class=\"warn\">Look at this:</span> " : "",
                        escaped(finding.message));
  }
  return html + "</ul>\n";
}

std::string legend(const Plan& plan) {
  return fmt::format(
      "<p class=\"soft\">Filled: at ear height and subs. Outlined: above the ear (orange) or below (violet, "
      "broken line). Broad arcs: where the standard lets that speaker stand. Dotted circle: the ring at "
      "{:.2f} m. The cross is the ear point.</p>\n",
      plan.distance_m);
}

std::string figure(const std::string& drawing, std::string_view caption) {
  return fmt::format("<figure>\n{}<figcaption>{}</figcaption>\n</figure>\n", drawing, escaped(caption));
}

std::string pictures(const Plan& plan) {
  return heading("drawings", "To scale") + "<div class=\"pictures\">\n" +
         figure(draw_from_above(plan), "From above, the front at the top") + "<div>\n" +
         figure(draw_from_the_side(plan), "From the left side, the front on the left") + legend(plan) +
         "</div>\n</div>\n";
}

std::string mark_cell(const PlannedSpeaker& speaker) {
  if (speaker.mark) return plan_words::mark(*speaker.mark);
  const FloorMark mark = plan_words::from_ear(speaker);
  return fmt::format("{:.2f} m to the {}, {:.2f} m to the {} of the spot below the ear", mark.lengthways.distance_m,
                     plan_words::side(mark.lengthways.wall), mark.sideways.distance_m,
                     plan_words::side(mark.sideways.wall));
}

std::string neighbours(const Plan& plan, const PlannedSpeaker& speaker) {
  std::string words;
  for (const Neighbour& neighbour : speaker.neighbours) {
    words += fmt::format("{}{} {:.2f} m", words.empty() ? "" : ", ", plan.speakers[neighbour.speaker].speaker.label,
                         neighbour.distance_m);
  }
  return words.empty() ? "-" : words;
}

std::string places(const Plan& plan) {
  static const std::vector<Column> columns{
      {"Floor mark", true}, {"Height"}, {"Tilt"}, {"From the ear"}, {"Neighbours, by tape"}};
  std::string html = heading("places", "Where each stands") +
                     table_head(
                         "Marks from the nearer walls, heights and distances to the acoustic centre (about the "
                         "tweeter). Turn each box to face the ear point, then tilt it.",
                         columns);
  for (const PlannedSpeaker& speaker : plan.speakers) {
    const std::string tilt = plan_words::tilt(speaker);
    const bool angle = tilt != "level" && tilt != "-";
    html += table_row(speaker.speaker.label, who_words(speaker), columns,
                      {mark_cell(speaker), fmt::format("{:.2f} m", speaker.height_m),
                       angle ? tilt.substr(0, tilt.find(' ')) + " degrees" + tilt.substr(tilt.find(' ')) : tilt,
                       fmt::format("{:.2f} m", speaker.distance_m), neighbours(plan, speaker)});
  }
  return html + std::string{table_end};
}

std::string pair_of_angles(double azimuth_deg, double elevation_deg) {
  return degrees(azimuth_deg) + " / " + degrees(elevation_deg);
}

std::string allowed(const std::optional<AngleRange>& range) {
  if (!range) return "no range";
  return degrees_between(range->az_min_deg, range->az_max_deg) + " / " +
         degrees_between(range->el_min_deg, range->el_max_deg);
}

std::string angles(const Plan& plan) {
  static const std::vector<Column> columns{{"Here"}, {"Nominal"}, {"Allowed", true}};
  std::string html = heading("angles", "Angles from the ear point") +
                     table_head(
                         "Azimuth / elevation in degrees; azimuth from the front, positive to the left. A sub's "
                         "nominal angle is a place holder of the standard.",
                         columns);
  for (const PlannedSpeaker& planned : plan.speakers) {
    const RingSpeaker& speaker = planned.speaker;
    html +=
        table_row(speaker.label, speaker.bs2051_label, columns,
                  {pair_of_angles(planned.direction.azimuth_deg, planned.direction.elevation_deg),
                   pair_of_angles(speaker.nominal.azimuth_deg, speaker.nominal.elevation_deg), allowed(speaker.range)});
  }
  return html + std::string{table_end};
}

std::string tick(const std::string& words) {
  return fmt::format("<li><label><input type=\"checkbox\"> {}</label></li>\n", escaped(words));
}

std::string patch_list(const Plan& plan) {
  std::string html = heading("patch", "Patch list") + "<p class=\"soft\">To tick off, " +
                     plan_words::order_of_outputs(plan) + ".</p>\n<ul class=\"ticks\">\n";
  for (const PlannedSpeaker& speaker : plan.speakers) {
    const std::string words = plan_words::in_words(speaker);
    html += tick(fmt::format("Output {} to {}{}", speaker.speaker.output, speaker.speaker.label,
                             words.empty() ? "" : ", " + words));
  }
  return html + tick("Measurement microphone to input 1") + "</ul>\n";
}

std::string cables(const Plan& plan) {
  static const std::vector<Column> columns{{"Held by"}, {"Height"}, {"Run"}, {"Cable"}, {"Mains lead"}};
  std::string html =
      heading("cables", "Stands and cables") +
      table_head(fmt::format("Runs along the walls and up the stand, {:g} m slack included, rounded up to "
                             "lengths cables are sold in.",
                             slack_m),
                 columns);
  for (const PlannedSpeaker& speaker : plan.speakers) {
    html += table_row(speaker.speaker.label, who_words(speaker), columns,
                      {name(speaker.mounting), fmt::format("{:.2f} m", speaker.height_m),
                       fmt::format("{:.2f} m", speaker.cable.run_m), plan_words::pieces(speaker.cable),
                       speaker.mains_lead ? plan_words::pieces(*speaker.mains_lead) : "its own"});
  }
  html += table_row(
      "Mic", "input 1", columns,
      {"mic stand", fmt::format("{:.2f} m", plan.request.ear_height_m),
       fmt::format("{:.2f} m", plan.microphone_cable.run_m), plan_words::pieces(plan.microphone_cable), "none"});
  html += table_end;
  html += "<p><strong>Stands:</strong> " + escaped(plan_words::stands(plan)) + "; 1 mic stand</p>\n";
  html += "<p><strong>Cables:</strong> " + plan_words::counted(count_cables(plan)) + " (microphone included)</p>\n";
  return html + "<p><strong>Mains leads:</strong> " + plan_words::mains_leads(plan) + "</p>\n";
}

std::string microphone(const Plan& plan) {
  std::string html = heading("microphone", "Microphone spots") + "<p class=\"soft\">" +
                     escaped(plan_words::microphone_guidance()) + "</p>\n<ul class=\"ticks\">\n";
  for (std::size_t i = 0; i < plan.microphone_m.size(); ++i) {
    html += tick(fmt::format("Position {}: {}", i + 1, plan_words::microphone_spot(plan.microphone_m[i])));
  }
  return html + "</ul>\n";
}

std::string cautions() {
  std::string html = heading("cautions", "Before you lift anything") + "<ul>\n";
  for (const auto& caution : plan_words::cautions()) {
    html += fmt::format("<li><strong>{}.</strong> {}</li>\n", escaped(caution.title), escaped(caution.text));
  }
  return html + "</ul>\n";
}

std::string head(const std::string& title) {
  return fmt::format(
      "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n"
      "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n"
      "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'\">\n"
      "<title>{}</title>\n<style>{}</style>\n</head>\n",
      escaped(title), plan_page_style);
}

}  // namespace

std::string format_plan_page(const Plan& plan) {
  const std::string title = plan_words::title(plan);
  std::string html = head(title) + "<body>\n<main>\n<h1>" + escaped(title) + "</h1>\n";
  for (const std::string& fact : plan_words::facts(plan)) html += "<p>" + escaped(fact) + "</p>\n";
  return html + findings(plan) + pictures(plan) + places(plan) + angles(plan) + patch_list(plan) + cables(plan) +
         microphone(plan) + cautions() + "</main>\n</body>\n</html>\n";
}

}  // namespace ringtrue
