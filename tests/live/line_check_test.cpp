#include "ringtrue/live/line_check.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <string>

#include "rigs.hpp"
#include "ringtrue/capture/virtual_room.hpp"
#include "ringtrue/live/virtual_card.hpp"

using namespace ringtrue;
using namespace ringtrue::test;

namespace {

/// Four mains around the ear point and a sub, one of them changed by the test.
VirtualRoom room_with(const Rig& rig, const std::string& change = "") {
  std::string text = "[room]\nreverberation_time_s = 0.2\n";
  const char* const places[] = {"[-1.2, 1.6, 0.0]", "[1.3, 1.5, 0.0]", "[-1.5, -1.0, 0.1]", "[1.4, -1.1, 0.1]",
                                "[0.5, 1.7, -0.9]"};
  for (std::size_t s = 0; s < rig.speakers.size(); ++s) {
    text += "[[speaker]]\nlabel = \"" + rig.speakers[s].label + "\"\nposition_m = " + places[s] + "\n";
    if (s == 2) text += change + "\n";
  }
  return parse_virtual_room(text, "room", rig);
}

PositionMeasurement line_check(const Rig& rig, const VirtualRoom& room) {
  VirtualCard card{room, rig};
  LineCheck lines{rig};
  LineOptions options;
  options.lead_in = Seconds{0.7};
  for (std::size_t s = 0; s < rig.speakers.size(); ++s) {
    const Stimulus stimulus = plan_line_burst(rig, s, options);
    (void)lines.hear(s, stimulus, card.play(stimulus, {}).recording);
  }
  return lines.judged();
}

std::string codes(const PositionMeasurement& judged) {
  std::string text;
  for (const Finding& finding : judged.findings) text += finding.code + ':' + finding.speaker.value_or("") + ' ';
  return text;
}

}  // namespace

TEST_CASE("a healthy ring is heard to the last speaker") {
  const Rig rig = simple_rig(4, true);
  const auto judged = line_check(rig, room_with(rig));
  CHECK(codes(judged) == "");
  CHECK(std::ranges::all_of(judged.speakers, [](const SpeakerMeasurement& speaker) { return speaker.heard; }));
}

TEST_CASE("a line check names the silent, the inverted, the quiet and the doubled output") {
  const Rig rig = simple_rig(4, true);
  CHECK(codes(line_check(rig, room_with(rig, "model = \"silent\""))) == "silent-output:M3 ");
  CHECK(codes(line_check(rig, room_with(rig, "inverted = true"))) == "inverted-polarity:M3 ");
  CHECK(codes(line_check(rig, room_with(rig, "gain_db = -14"))) == "quiet-speaker:M3 ");
}

TEST_CASE("without a loopback and with a late recorder the line check hears as much") {
  const Rig rig = simple_rig(4, true);
  VirtualRoom room = room_with(rig, "model = \"silent\"");
  room.loopback = false;
  room.start_offset_ms = 400.0;
  room.clock_ppm = 60.0;
  CHECK(codes(line_check(rig, room)) == "silent-output:M3 ");
}
