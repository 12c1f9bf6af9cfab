#include "ringtrue/placement/fit.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <string>

namespace ringtrue {
namespace {

constexpr double far = std::numeric_limits<double>::infinity();
constexpr SpeakerSpace open_space{{-far, -far, -1.0}, {far, far, far}};

SpeakerSpace space(double left, double right, double front, double back, double up = 5.0) {
  return {{-left, -back, -1.0}, {right, front, up}};
}

Ring ring(const char* name) { return ring_of(*find_layout(name)); }

FittedRing fit(const Ring& speakers, const SpeakerSpace& space, double wanted_m = 2.0) {
  return fit_ring(speakers, space, Metres{wanted_m}, Metres{1.2});
}

const FittedSpeaker& of(const FittedRing& fitted, const Ring& speakers, const std::string& label) {
  const auto found = std::ranges::find(speakers.speakers, label, &RingSpeaker::label);
  REQUIRE(found != speakers.speakers.end());
  return fitted.speakers[static_cast<std::size_t>(found - speakers.speakers.begin())];
}

std::vector<std::string> messages(const Findings& findings, const std::string& code) {
  std::vector<std::string> result;
  for (const Finding& finding : findings) {
    if (finding.code == code) result.push_back(finding.message);
  }
  return result;
}

}  // namespace

TEST_CASE("where there is room, every main stands at its nominal angle and the wanted distance") {
  for (const Layout& layout : layouts()) {
    CAPTURE(layout.code);
    const Ring speakers = ring_of(layout);
    const FittedRing fitted = fit(speakers, open_space);
    CHECK(fitted.distance_m == 2.0);
    for (std::size_t i = 0; i < speakers.speakers.size(); ++i) {
      if (speakers.speakers[i].kind == SpeakerKind::sub) continue;
      CAPTURE(speakers.speakers[i].label);
      CHECK(fitted.speakers[i].distance_m == 2.0);
      CHECK(fitted.speakers[i].direction.azimuth_deg == speakers.speakers[i].nominal.azimuth_deg);
      CHECK(fitted.speakers[i].direction.elevation_deg == speakers.speakers[i].nominal.elevation_deg);
    }
  }
}

TEST_CASE("a ring that is a little too wide becomes smaller as a whole") {
  // By hand: 1.8 m to the left at 90 degrees; two of seven may draw it in by 2/14 to 1.714 m, 1.8 m is more.
  const Ring speakers = ring("7.1.4");
  const FittedRing fitted = fit(speakers, space(1.8, 1.8, 2.2, 2.2));
  CHECK(fitted.distance_m == 1.8);
  for (const std::string label : {"L", "C", "Lss", "Rss", "Lrs", "Ltf", "Rtr"}) {
    CAPTURE(label);
    CHECK(of(fitted, speakers, label).distance_m == 1.8);
  }
  const Findings findings = explain_fit(speakers, fitted, Metres{2.0});
  CHECK(messages(findings, "shorter-ring") ==
        std::vector<std::string>{"The ring is 1.80 m from the ear instead of 2.00 m. Too near for more: the side walls "
                                 "(for Lss and Rss)."});
  CHECK(messages(findings, "unequal-distance").empty());
}

TEST_CASE("in a narrow room only the side speakers come much nearer") {
  // By hand: Ls at 110 degrees reaches 1.15 / sin 110 = 1.2238 m; two of five draw the ring in to 2 (1 - 2/10) = 1.6 m.
  const Ring speakers = ring("5.1");
  const FittedRing fitted = fit(speakers, space(1.15, 1.15, 3.0, 3.0));
  CHECK(fitted.distance_m == doctest::Approx(1.6).epsilon(1e-12));
  CHECK(of(fitted, speakers, "C").distance_m == fitted.distance_m);
  CHECK(of(fitted, speakers, "Ls").distance_m == doctest::Approx(1.22).epsilon(1e-12));
  CHECK(of(fitted, speakers, "Ls").direction.azimuth_deg == 110.0);
  CHECK(messages(explain_fit(speakers, fitted, Metres{2.0}), "unequal-distance") ==
        std::vector<std::string>{"Ls and Rs are 1.22 m from the ear, the ring 1.60 m: the side walls are in the way. "
                                 "Nothing is lost: delay and trim will make up for it."});
}

TEST_CASE("a rear speaker turns inside its range when that saves its distance") {
  // By hand: at 135 degrees 1.4 m to the back end after 1.4 / cos 45 = 1.980 m; at 134 after 1.4 / cos 46 = 2.015 m.
  const Ring speakers = ring("7.1");
  const FittedRing fitted = fit(speakers, space(3.0, 3.0, 3.0, 1.4));
  CHECK(fitted.distance_m == 2.0);
  CHECK(of(fitted, speakers, "Lrs").direction.azimuth_deg == 134.0);
  CHECK(of(fitted, speakers, "Rrs").direction.azimuth_deg == -134.0);
  CHECK(of(fitted, speakers, "Lrs").distance_m == 2.0);
  const Findings findings = explain_fit(speakers, fitted, Metres{2.0});
  REQUIRE(findings.size() == 1);
  CHECK(findings[0].code == "turned-within-range");
  CHECK(findings[0].severity == Severity::note);
  CHECK(findings[0].message ==
        "Lrs and Rrs stand each at azimuth 134 instead of 135 degrees (allowed: 120 to 150): the back wall is in the "
        "way otherwise.");
}

TEST_CASE("a speaker may turn to the very end of its range") {
  // By hand, L between 22.5 and 30 degrees, 0.77 m to the side: 0.77 / sin 22.5 = 2.012 m, but 0.77 / sin 23 = 1.971 m.
  Ring speakers = ring("9.1.6");
  speakers.speakers.resize(2);
  const FittedRing fitted = fit(speakers, space(0.77, 0.77, 3.0, 3.0));
  CHECK(fitted.distance_m == 2.0);
  CHECK(fitted.speakers[0].direction.azimuth_deg == 22.5);
  CHECK(fitted.speakers[1].direction.azimuth_deg == -22.5);
}

TEST_CASE("a low ceiling brings the overheads nearer and leaves the ring alone") {
  // By hand: 0.8 m up at 30 degrees end after 0.8 / sin 30 = 1.6 m; the range begins at 30 degrees.
  const Ring speakers = ring("7.1.4");
  const FittedRing fitted = fit(speakers, space(3.0, 3.0, 3.0, 3.0, 0.8));
  CHECK(fitted.distance_m == 2.0);
  CHECK(of(fitted, speakers, "Ltf").distance_m == doctest::Approx(1.6).epsilon(1e-12));
  CHECK(of(fitted, speakers, "Ltf").direction.elevation_deg == 30.0);
}

TEST_CASE("where no place in the range is left, the nearest one is given with a warning") {
  // By hand: 0.2 m up; at 30 degrees that is 0.4 m, nearer than a speaker may be. 0.7 m needs asin(0.2/0.7) = 16.6
  // degrees at most. Each degree outside saves less distance than it costs, so it is not lower than needed: 16.
  const Ring speakers = ring("5.1.4");
  const FittedRing fitted = fit(speakers, space(3.0, 3.0, 3.0, 3.0, 0.2));
  const FittedSpeaker& overhead = of(fitted, speakers, "Ltf");
  CHECK(overhead.direction.elevation_deg <= 16.6);
  CHECK(overhead.direction.elevation_deg > 0.0);
  CHECK(overhead.distance_m >= nearest_speaker_m);
  CHECK(overhead.distance_m * std::sin(overhead.direction.elevation_deg * std::numbers::pi / 180.0) <= 0.2 + 1e-9);
  const Findings findings = explain_fit(speakers, fitted, Metres{2.0});
  const auto found = std::ranges::find(findings, std::string{"place-out-of-range"}, &Finding::code);
  REQUIRE(found != findings.end());
  CHECK(found->severity == Severity::warn);
  CHECK(found->message.starts_with(
      "Ltf and Rtf have no place in the allowed range: the ceiling is too near (0.40 m). The nearest possible: "));
  CHECK_FALSE(is_in_range(speakers.speakers[6], overhead.direction));
}

TEST_CASE("a pair stays a mirror image where one side has less room") {
  const Ring speakers = ring("7.1.4");
  const FittedRing fitted = fit(speakers, space(1.6, 3.0, 3.0, 3.0));
  CHECK(of(fitted, speakers, "Lss").distance_m == of(fitted, speakers, "Rss").distance_m);
  CHECK(of(fitted, speakers, "Lss").distance_m == doctest::Approx(1.6).epsilon(1e-12));
  CHECK(of(fitted, speakers, "Lss").limit == Surface::left_wall);
  CHECK(of(fitted, speakers, "Rss").limit == Surface::right_wall);  // the mirror image of what limits Lss
}

TEST_CASE("a sub stands on the floor, in its range, clear of the other floor marks") {
  for (const char* name : {"5.1", "7.1.4", "7.2.3", "22.2", "9.1.6"}) {
    CAPTURE(name);
    const Ring speakers = ring(name);
    const FittedRing fitted = fit(speakers, space(2.2, 2.2, 2.6, 2.6, 1.1));
    for (std::size_t i = 0; i < speakers.speakers.size(); ++i) {
      if (speakers.speakers[i].kind == SpeakerKind::main) continue;
      const FittedSpeaker& sub = fitted.speakers[i];
      const Point at = place(sub.direction, sub.distance_m);
      CHECK(at.z == doctest::Approx(sub_centre_height_m - 1.2).epsilon(1e-9));
      CHECK(is_in_range(speakers.speakers[i], sub.direction));
      for (std::size_t j = 0; j < speakers.speakers.size(); ++j) {
        const Point other = place(fitted.speakers[j].direction, fitted.speakers[j].distance_m);
        if (j != i) CHECK(std::hypot(other.x - at.x, other.y - at.y) >= stand_room_m - 1e-9);
      }
    }
  }
}

TEST_CASE("a sub goes further away than the ring where only that puts it in its range") {
  // By hand: 0.95 m below the ear at no more than 30 degrees is at least 0.95 / sin 30 = 1.9 m away.
  Ring speakers = ring("7.2.3");
  speakers.speakers.resize(5);  // L R C LFE LFE2: nothing else in the way
  const FittedRing fitted = fit(speakers, open_space, 1.7);
  CHECK(fitted.distance_m == 1.7);
  CHECK(of(fitted, speakers, "LFE").distance_m >= 1.9);
  CHECK(is_in_range(speakers.speakers[3], of(fitted, speakers, "LFE").direction));
}

TEST_CASE("two stands on one floor mark are named with their distance") {
  // By hand: Ltf above L at 30 degrees, both 2 m away: 2 - 2 cos 30 = 0.268 m apart on the floor.
  const Ring speakers = ring("5.1.2");
  const auto crowded = messages(explain_fit(speakers, fit(speakers, open_space), Metres{2.0}), "crowded-floor");
  CHECK(crowded ==
        std::vector<std::string>{"Floor marks too near for two stands: L and Ltf (0.27 m), R and Rtf (0.27 m). "
                                 "Hang one of them, or put both on one stand with a boom."});
  CHECK(messages(explain_fit(ring("7.1"), fit(ring("7.1"), open_space), Metres{2.0}), "crowded-floor").empty());
}

TEST_CASE("a speaker of one's own keeps its direction and only comes nearer") {
  Ring speakers = ring("stereo");
  add_speaker(speakers, "Side", {80, 0});
  const FittedRing fitted = fit(speakers, space(1.2, 1.2, 3.0, 3.0));
  CHECK(of(fitted, speakers, "Side").direction.azimuth_deg == 80.0);
  CHECK(of(fitted, speakers, "Side").distance_m ==
        doctest::Approx(std::floor(120.0 / std::sin(80 * std::numbers::pi / 180)) / 100));
}

}  // namespace ringtrue
