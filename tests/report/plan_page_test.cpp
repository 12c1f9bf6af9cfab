#include <doctest/doctest.h>

#include <cmath>
#include <string>
#include <vector>

#include "ringtrue/report/plan_sheet.hpp"

namespace ringtrue {
namespace {

PlanRequest request_for(const char* layout) {
  PlanRequest request;
  request.ring = ring_of(*find_layout(layout));
  request.room_m = {5.2, 4.4, 2.6};
  return request;
}

std::string page_of(const PlanRequest& request) { return format_plan_page(make_plan(request)); }

std::size_t count(const std::string& text, const std::string& part) {
  std::size_t found = 0;
  for (auto at = text.find(part); at != std::string::npos; at = text.find(part, at + 1)) ++found;
  return found;
}

/// The first tag that is closed wrongly or never; empty when all are balanced.
std::string unbalanced(const std::string& html) {
  std::vector<std::string> open;
  for (auto at = html.find('<'); at != std::string::npos; at = html.find('<', at + 1)) {
    const auto end = html.find('>', at);
    if (end == std::string::npos) return html.substr(at, 20);
    const std::string tag = html.substr(at + 1, end - at - 1);
    const std::string name = tag.substr(0, tag.find_first_of(" \n/", 1));
    if (tag.starts_with('!') || tag.ends_with('/') || name == "meta" || name == "input") continue;
    if (!tag.starts_with('/')) {
      open.push_back(name);
    } else if (open.empty() || '/' + open.back() != tag) {
      return tag;
    } else {
      open.pop_back();
    }
  }
  return open.empty() ? "" : open.back();
}

/// The number after `key="` behind a place in the text.
double number_after(const std::string& text, const std::string& key, std::size_t from) {
  const auto at = text.find(key + "=\"", from);
  REQUIRE(at != std::string::npos);
  return std::stod(text.substr(at + key.size() + 2));
}

}  // namespace

TEST_CASE("a plan's page is one well-formed file that asks for nothing, for every layout") {
  for (const Layout& layout : layouts()) {
    CAPTURE(layout.code);
    PlanRequest request;
    request.ring = ring_of(layout);
    request.room_m = {6.0, 5.0, 2.7};
    const std::string page = page_of(request);
    CHECK(page.starts_with("<!DOCTYPE html>\n<html lang=\"en\">"));
    CHECK(unbalanced(page) == "");
    CHECK(count(page, "http") == count(page, "http://www.w3.org/2000/svg") + 1);  // + http-equiv
    for (const char* request_maker : {"<script", "<link", "<img", "src=", "href=", "url(", "@import"}) {
      CAPTURE(request_maker);
      CHECK(count(page, request_maker) == 0);
    }
    CHECK(count(page, "default-src 'none'") == 1);
    CHECK(count(page, "name=\"viewport\"") == 1);
  }
}

TEST_CASE("both drawings have a title and a description for those who cannot see them") {
  const std::string page = page_of(request_for("7.1.4"));
  CHECK(count(page, "<svg ") == 2);
  for (const char* id : {"above-title", "above-description", "side-title", "side-description"}) {
    CAPTURE(id);
    CHECK(count(page, std::string{"id=\""} + id + '"') == 1);
  }
  CHECK(count(page, "role=\"img\" aria-labelledby=\"above-title above-description\"") == 1);
}

TEST_CASE("the plan is drawn to scale: the room and the ring have one and the same scale") {
  // By hand: the room is 4.4 x 5.2 m, the ring's radius 1.8 m, and the bar 1 m.
  const std::string page = page_of(request_for("7.1.4"));
  const auto room = page.find("<rect class=\"room\"");
  const double per_metre = number_after(page, "width", room) / 4.4;
  CHECK(number_after(page, "height", room) == doctest::Approx(5.2 * per_metre).epsilon(0.001));
  const auto ring = page.find("<circle class=\"ring\"");
  CHECK(number_after(page, "r", ring) == doctest::Approx(1.8 * per_metre).epsilon(0.001));
  // The ear point is 2.86 m from the front and 2.2 m from the left.
  CHECK(number_after(page, "cy", ring) - number_after(page, "y", room) ==
        doctest::Approx(2.86 * per_metre).epsilon(0.001));
  CHECK(number_after(page, "cx", ring) - number_after(page, "x", room) ==
        doctest::Approx(2.2 * per_metre).epsilon(0.001));
}

TEST_CASE("every speaker is drawn, listed and has a box to tick") {
  const std::string page = page_of(request_for("7.1.4"));
  CHECK(count(page, "<input type=\"checkbox\">") == 12 + 1 + 4);  // outputs, microphone, spots
  for (const char* label : {"Lss", "Rrs", "Ltf", "LFE"}) {
    CAPTURE(label);
    CHECK(count(page, std::string{"class=\"who\">"} + label + "<span>") == 3);  // places, angles, cables
    CHECK(count(page, label) >= 6);
  }
  CHECK(count(page, "Tall stands.") == 1);
}

TEST_CASE("names from outside cannot become markup") {
  PlanRequest request = request_for("stereo");
  request.name = "<b>\"Tom & 'Jo'\"</b>";
  const std::string page = page_of(request);
  CHECK(count(page, "<b>") == 0);
  CHECK(count(page, "&lt;b&gt;&quot;Tom &amp; &#39;Jo&#39;&quot;&lt;/b&gt;: 2.0") == 2);  // title and heading
  CHECK(unbalanced(page) == "");
}

TEST_CASE("a page draws rings without a room, and rooms of any shape") {
  PlanRequest request = request_for("22.2");
  request.room_m.reset();
  CHECK(unbalanced(page_of(request)) == "");
  CHECK(count(page_of(request), "class=\"room\"") == 0);
  request.room_m = {40.0, 3.0, 2.6};
  CHECK(unbalanced(page_of(request)) == "");
  CHECK(count(page_of(request), "nan") == 0);
  CHECK(count(page_of(request), "inf") == 0);
}

}  // namespace ringtrue
