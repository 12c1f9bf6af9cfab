#include "ringtrue/placement/ring.hpp"

#include <doctest/doctest.h>

#include <limits>
#include <string>

#include "ringtrue/core/errors.hpp"

namespace ringtrue {
namespace {

std::string labels(const Ring& ring) {
  std::string result;
  for (const RingSpeaker& speaker : ring.speakers) result += speaker.label + ' ';
  return result;
}

std::string refusal(const std::string& label, Direction direction) {
  Ring ring;
  try {
    add_speaker(ring, label, direction);
  } catch (const InvalidInput& error) {
    return error.what();
  }
  return "accepted";
}

}  // namespace

TEST_CASE("a known layout becomes a ring on outputs 1, 2, ... in the common order") {
  // Source: common practice for 7.1.4, issue text and docs/rig.md.
  const Ring ring = ring_of(*find_layout("7.1.4"));
  CHECK(ring.layout == "4+7+0");
  CHECK(labels(ring) == "L R C LFE Lss Rss Lrs Rrs Ltf Rtf Ltr Rtr ");
  for (std::size_t i = 0; i < ring.speakers.size(); ++i) CHECK(ring.speakers[i].output == static_cast<int>(i) + 1);
  CHECK(ring.speakers[3].kind == SpeakerKind::sub);
  CHECK(ring.speakers[8].bs2051_label == "U+045");
  CHECK(ring_of(*find_layout("9.1.6")).layout == "9.1.6");  // BS.2051 has no name for it
}

TEST_CASE("a speaker of one's own comes after the layout's, without a range") {
  Ring ring = ring_of(*find_layout("7.1.4"));
  add_speaker(ring, "Lw", {60, 0});
  CHECK(ring.speakers.back().output == 13);
  CHECK_FALSE(ring.speakers.back().range.has_value());
  add_speaker(ring, "sub2", {-45, 0});
  CHECK(ring.speakers.back().kind == SpeakerKind::sub);
}

TEST_CASE("a label that is there keeps its output and gets the new direction, whatever its capitals or standard") {
  for (const std::string label : {"Lss", "lSS", "M+090", "m+090"}) {
    CAPTURE(label);
    Ring ring = ring_of(*find_layout("7.1.4"));
    add_speaker(ring, label, {100, 5});
    REQUIRE(ring.speakers.size() == 12);
    CHECK(ring.speakers[4].label == "Lss");
    CHECK(ring.speakers[4].output == 5);
    CHECK(ring.speakers[4].nominal.azimuth_deg == 100.0);
    CHECK_FALSE(ring.speakers[4].range.has_value());
  }
}

TEST_CASE("labels and directions that are none are refused with what to write instead") {
  CHECK(refusal("", {}) == "speaker : is no label; use 1 to 32 letters, digits, + - _ or .");
  CHECK(refusal("a b", {}) == "speaker a b: is no label; use 1 to 32 letters, digits, + - _ or .");
  CHECK(refusal("ABCDEFGHIJKLMNOPQRSTUVWXYZABCDEFG", {}) != "accepted");  // 17
  CHECK(refusal("ABCDEFGHIJKLMNOP", {}) == "accepted");
  CHECK(refusal("L", {181, 0}) ==
        "speaker L: azimuth 181, elevation 0 is no direction; azimuth is -180 to 180 degrees, positive to the left, "
        "elevation -90 to 90, positive up");
  CHECK(refusal("L", {0, -91}) != "accepted");
  CHECK(refusal("L", {std::numeric_limits<double>::quiet_NaN(), 0}) != "accepted");
}

TEST_CASE("a rig's 64 speakers are the most") {
  Ring ring;
  for (int i = 1; i <= 64; ++i) add_speaker(ring, "S" + std::to_string(i), {0, 0});
  CHECK_THROWS_AS(add_speaker(ring, "S65", {0, 0}), InvalidInput);
  CHECK_NOTHROW(add_speaker(ring, "S64", {1, 0}));  // there already
}

TEST_CASE("partners are mirror images of the same kind with mirrored ranges") {
  Ring ring = ring_of(*find_layout("9+10+3"));
  const auto partner_label = [&](std::size_t i) {
    const auto partner = partner_of(ring, i);
    return partner ? ring.speakers[*partner].label : std::string{"none"};
  };
  CHECK(partner_label(0) == "Rw");
  CHECK(partner_label(2) == "none");  // C
  CHECK(partner_label(3) == "LFE2");
  CHECK(partner_label(8) == "none");   // Cs, at 180
  CHECK(partner_label(15) == "none");  // Tc
  CHECK(partner_label(23) == "Lb");
  add_speaker(ring, "Rw", {-60, 0});  // the same direction, but no range any more
  CHECK(partner_label(0) == "none");
}

}  // namespace ringtrue
