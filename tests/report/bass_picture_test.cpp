#include "ringtrue/report/bass_picture.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cstddef>

#include "calibration/example.hpp"

using namespace ringtrue;

namespace {

bool contains(const std::string& text, const std::string& part) { return text.find(part) != std::string::npos; }

std::size_t count(const std::string& text, const std::string& part) {
  std::size_t found = 0;
  for (auto at = text.find(part); at != std::string::npos; at = text.find(part, at + 1)) ++found;
  return found;
}

}  // namespace

TEST_CASE("the picture of the bass has a panel a main, with four curves and the phase in words") {
  Calibration calibration = test::bass_calibration();
  calibration.bass_picture->mains.push_back(calibration.bass_picture->mains.front());
  const std::string svg = draw_bass_picture(calibration);
  CHECK(svg.starts_with("<svg xmlns="));
  CHECK(svg.ends_with("</svg>\n"));
  CHECK(count(svg, "<polyline") == 8);
  CHECK(count(svg, "sub to main at 80 Hz: -140\u00b0 before, 5\u00b0 after") == 2);
}

TEST_CASE("levels and frequencies lie where the axes say") {
  // 20 to 320 Hz from x = 40 to 308, so an octave is 67 and 80 Hz is in the middle; 0 dB lies 6 dB of 36 below the top:
  // y = 44 + 160 / 6.
  const std::string svg = draw_bass_picture(test::bass_calibration());
  CHECK(contains(svg, "<polyline class=\"after\" points=\"40.0,70.7 107.0,69.8 174.0,70.2 241.0,71.6 308.0,70.7\"/>"));
}

TEST_CASE("a label cannot break the drawing") {
  Calibration calibration = test::bass_calibration();
  calibration.bass_picture->mains[0].label = "<L&R>";
  const std::string svg = draw_bass_picture(calibration);
  CHECK(contains(svg, "&lt;L&amp;R&gt;"));
  CHECK_FALSE(contains(svg, "<L&"));
}

TEST_CASE("without a picture there is no drawing") { CHECK(draw_bass_picture(test::example_calibration()).empty()); }
