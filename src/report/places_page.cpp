#include <fmt/format.h>

#include <vector>

#include "html_table.hpp"
#include "html_text.hpp"
#include "places_style.hpp"
#include "plan_page_style.hpp"
#include "ringtrue/placement/angle_words.hpp"
#include "ringtrue/placement/nominal.hpp"
#include "ringtrue/report/places_drawing.hpp"
#include "ringtrue/report/text_layout.hpp"

namespace ringtrue {
namespace {

using html::Column;
using html::escaped;

std::string figure(const std::string& svg, std::string_view caption) {
  return fmt::format("<figure>\n{}<figcaption>{}</figcaption>\n</figure>\n", svg, caption);
}

constexpr std::string_view legend =
    "Speakers stand where they were found; the pale ellipse around each holds its true place in 19 of 20 cases. "
    "Crosses: "
    "nominal places, at the found distance. Broad lines: where the standard lets that speaker stand. Filled: at ear "
    "height; outlined: above (orange) or below (violet, broken line). Red: not where it belongs, with the way it "
    "should "
    "move. Pale: only the direction is known, the distance is the ring's. Dots: mic spots; the ring with the cross is "
    "the "
    "ear point.";

std::string pair_of_angles(Direction direction) {
  return degrees(direction.azimuth_deg) + " / " + degrees(direction.elevation_deg);
}

std::string nominal_words(const std::optional<NominalPlace>& nominal) {
  return nominal ? pair_of_angles(nominal->direction) : "-";
}

std::string allowed_words(const std::optional<NominalPlace>& nominal) {
  if (!nominal || !nominal->range) return "-";
  const AngleRange& range = *nominal->range;
  return degrees_between(range.az_min_deg, range.az_max_deg) + " / " +
         degrees_between(range.el_min_deg, range.el_max_deg);
}

std::string distance_words(const FoundPlace& found) {
  if (!found.distance_m) return "not known";
  return fmt::format("{:.2f} m +/- {:.2f}", *found.distance_m, found.distance_uncertainty_m.value_or(0.0));
}

std::string table(const Calibration& calibration) {
  static const std::vector<Column> columns{
      {"Found, azimuth / elevation"}, {"+/-"}, {"From the ear"}, {"Nominal"}, {"Allowed"}};
  std::string rows = html::table_head(
      "Degrees from the ear point, azimuth from the front, positive to the left. +/- is one standard deviation.",
      columns);
  for (std::size_t s = 0; s < calibration.speakers.size(); ++s) {
    const SpeakerResult& speaker = calibration.speakers[s];
    if (!speaker.measured.found) continue;
    const FoundPlace& found = *speaker.measured.found;
    const auto nominal = nominal_place(calibration.rig, calibration.rig.speakers[s]);
    rows += html::table_row(speaker.label, fmt::format("output {}", speaker.output), columns,
                            {pair_of_angles(found.direction), degrees(found.direction_uncertainty_deg),
                             distance_words(found), nominal_words(nominal), allowed_words(nominal)});
  }
  return rows + std::string{html::table_end};
}

std::string findings(const Calibration& calibration) {
  std::string items;
  for (const Finding& finding : calibration.findings) {
    const bool about_places = finding.code == "swapped-outputs" || finding.code == "wrong-place" ||
                              finding.code == "uneven-pair" || finding.code == "mic-spot" ||
                              finding.code == "wiring-unproven" || finding.code == "distance-differs";
    if (about_places) items += fmt::format("<li>{}</li>\n", escaped(finding.message));
  }
  return items.empty() ? items : "<h2>What to look at</h2>\n<ul>\n" + items + "</ul>\n";
}

std::string head(const std::string& title) {
  return fmt::format(
      "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n"
      "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n"
      "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'\">\n"
      "<title>{}</title>\n<style>{}{}</style>\n</head>\n",
      escaped(title), plan_page_style, places_style);
}

}  // namespace

std::string places_drawing_style() { return places_style; }

std::string places_drawing(const Calibration& calibration) {
  if (!has_places(calibration)) return {};
  return "<div class=\"places-drawing\">\n" +
         figure(draw_places_from_above(calibration), "Found places from above, the front at the top") +
         figure(draw_places_from_the_side(calibration), "From the left side, the front on the left") +
         fmt::format("<p>{}</p>\n</div>\n", legend);
}

std::string format_places_page(const Calibration& calibration) {
  const std::string name = calibration.rig.name.empty() ? calibration.rig.layout : calibration.rig.name;
  const std::string title = text::printable(name) + ": where the speakers were found";
  std::string html = head(title) + "<body>\n<main>\n<h1>" + escaped(title) + "</h1>\n";
  if (!has_places(calibration)) {
    html += "<p>No speaker could be located: that takes four or more mic spots that do not lie in one plane.</p>\n";
  } else {
    html += places_drawing(calibration) + findings(calibration) + "<h2>Places</h2>\n" + table(calibration);
  }
  return html + "</main>\n</body>\n</html>\n";
}

}  // namespace ringtrue
