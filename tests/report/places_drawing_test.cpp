#include "ringtrue/report/places_drawing.hpp"

#include <doctest/doctest.h>

#include <string>

#include "ringtrue/rig/layout.hpp"

using namespace ringtrue;

namespace {

std::size_t count(const std::string& text, const std::string& part) {
  std::size_t found = 0;
  for (auto at = text.find(part); at != std::string::npos; at = text.find(part, at + 1)) ++found;
  return found;
}

/// Three located mains; Lss stands wrong, the distance of R is not known.
Calibration located() {
  Calibration calibration;
  calibration.rig.layout = "4+7+0";
  const auto add = [&](const char* label, Direction direction, std::optional<double> distance_m) {
    const int output = static_cast<int>(calibration.speakers.size()) + 1;
    calibration.rig.speakers.push_back({.label = label, .output = output});
    SpeakerResult speaker{label, output, SpeakerKind::main, Status::ok, {}, {}};
    speaker.measured.found = FoundPlace{direction, 1.2, distance_m, std::nullopt};
    if (distance_m) speaker.measured.found->distance_uncertainty_m = 0.02;
    if (distance_m) speaker.measured.position_m = place(direction, *distance_m);
    calibration.speakers.push_back(speaker);
  };
  add("L", {31.0, 0.5}, 2.0);
  add("R", {-30.0, 0.0}, std::nullopt);
  add("Lss", {60.0, 0.0}, 1.8);
  add("Ltr<b>", {130.0, 40.0}, 2.1);
  calibration.findings = {{Severity::warn, "wrong-place", "Lss", "Lss stands 25 degrees outside its range."}};
  return calibration;
}

}  // namespace

TEST_CASE("the drawings show each located speaker, the wrong one marked, and its way") {
  const Calibration calibration = located();
  for (const std::string& svg : {draw_places_from_above(calibration), draw_places_from_the_side(calibration)}) {
    CHECK(count(svg, "<svg ") == 1);
    CHECK(svg.ends_with("</svg>\n"));
    CHECK(count(svg, "<g class=\"level") == 3);
    CHECK(count(svg, "<g class=\"above") == 1);
    CHECK(count(svg, "<g class=\"level wrong\"") == 1);
    CHECK(count(svg, "<g class=\"level no-distance\"") == 1);
    CHECK(count(svg, "class=\"way\"") == 1);
    CHECK(count(svg, "class=\"nominal") == 3);  // the fourth label is none of the layout's
    CHECK(count(svg, "<b>") == 0);
  }
  // The ellipse from above is two standard deviations: 1.2 degrees at 2.1 m are 0.044 m, the scale the same as the
  // bar's.
  CHECK(count(draw_places_from_above(calibration), "<ellipse class=\"unsure\"") == 3);
}

TEST_CASE("the fragment and the page hold both drawings, and a page without places says why") {
  const Calibration calibration = located();
  CHECK(count(places_drawing(calibration), "<svg ") == 2);
  CHECK(count(places_drawing(calibration), "<figure>") == 2);
  const std::string page = format_places_page(calibration);
  CHECK(count(page, "<svg ") == 2);
  CHECK(page.find("Lss stands 25 degrees outside its range.") != std::string::npos);
  CHECK(page.find("Ltr&lt;b&gt;") != std::string::npos);
  CHECK(page.find("2.00&#160;m +/- 0.02") != std::string::npos);
  Calibration nothing = calibration;
  for (auto& speaker : nothing.speakers) speaker.measured.found.reset();
  CHECK(!has_places(nothing));
  CHECK(places_drawing(nothing).empty());
  CHECK(format_places_page(nothing).find("four or more mic spots") != std::string::npos);
}
