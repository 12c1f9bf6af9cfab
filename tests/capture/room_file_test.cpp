#include <doctest/doctest.h>

#include <algorithm>

#include "refusal.hpp"
#include "rigs.hpp"
#include "ringtrue/capture/virtual_room.hpp"
#include "ringtrue/rig/rig_file.hpp"
#include "temporary_folder.hpp"

namespace ringtrue {
namespace {

using namespace test;

Rig stereo() {
  Rig rig = parse_rig(
      "layout = \"2.0\"\n[[speaker]]\nlabel = \"L\"\noutput = 1\n[[speaker]]\nlabel = \"R\"\noutput = 2\n", "rig.toml");
  return rig;
}

VirtualRoom parse(const std::string& text, const Rig& rig = stereo()) {
  return parse_virtual_room(text, "/rooms/room.toml", rig);
}

std::string refusal(const std::string& text, const Rig& rig = stereo()) {
  return refusal_of([&] { (void)parse(text, rig); });
}

const VirtualSpeaker& speaker(const VirtualRoom& room, const std::string& label) {
  return *std::ranges::find(room.speakers, label, &VirtualSpeaker::label);
}

}  // namespace

TEST_CASE("an empty room file is a room of the rig's size with speakers at their nominal places") {
  Rig rig = stereo();
  rig.room.size_m = {6.0, 5.0, 3.0};
  rig.room.ear_height_m = 1.1;
  rig.room.temperature_c = 25.0;
  const VirtualRoom room = parse("", rig);
  CHECK(room.size_m == std::array<double, 3>{6.0, 5.0, 3.0});
  CHECK(room.ear_m == Point{0.0, 0.0, 1.1});
  CHECK(room.temperature_c == 25.0);
  REQUIRE(room.speakers.size() == 2);
  // BS.2051 0+2+0: 30 degrees to the left and right; at 2 m that is 1 m aside, sqrt(3) m ahead.
  CHECK(distance_m(speaker(room, "L").position_m, Point{-1.0, 1.7320508, 0.0}) < 1e-6);
  CHECK(distance_m(speaker(room, "R").position_m, Point{1.0, 1.7320508, 0.0}) < 1e-6);
  CHECK(speaker(room, "L").model == "two-way");
  CHECK(room.loopback);
}

TEST_CASE("every key of a room file is read") {
  const VirtualRoom room = parse(R"(
[room]
size_m = [5.0, 4.0, 2.5]
ear_from_front_m = 2
ear_from_left_m = 1.5
ear_height_m = 1.3
absorption = [0.1, 0.2, 0.3, 0.4, 0.5, 0.6]
temperature_c = 18
[recorder]
latency_ms = 7.5
start_offset_ms = -300
clock_ppm = 42
sample_rate_hz = 44100
loopback = false
microphone_gain_db = 6
[noise]
white_dbfs = -70
hum_dbfs = -71
rumble_dbfs = -72
seed = 99
[[speaker]]
label = "L"
position_m = [-0.5, 1, 0.25]
model = "two-way-inverting"
crossover_hz = 3000
band_hz = [60, 18000]
gain_db = -2
inverted = true
extra_delay_ms = 1.5
second_harmonic_percent = 0.3
third_harmonic_percent = 0.1
plays_output = 2
[[speaker]]
label = "R"
azimuth_deg = -90
elevation_deg = 30
distance_m = 1
impulse_response_files = ["a.wav#3"]
[[speaker]]
label = "second right"
plays_output = 1
azimuth_deg = 0
distance_m = 0.4
model = "sub"
)");
  CHECK(room.size_m == std::array<double, 3>{5.0, 4.0, 2.5});
  CHECK(room.ear_m == Point{-0.5, 0.5, 1.3});  // from the middle of the floor: 1.5 - 4/2, 5/2 - 2
  CHECK(room.absorption == std::array<double, 6>{0.1, 0.2, 0.3, 0.4, 0.5, 0.6});
  CHECK(room.temperature_c == 18.0);
  CHECK(room.latency_ms == 7.5);
  CHECK(room.start_offset_ms == -300.0);
  CHECK(room.clock_ppm == 42.0);
  CHECK(room.recorder_sample_rate_hz == 44'100.0);
  CHECK_FALSE(room.loopback);
  CHECK(room.microphone_gain_db == 6.0);
  CHECK(room.noise_dbfs == -70.0);
  CHECK(room.hum_dbfs == -71.0);
  CHECK(room.rumble_dbfs == -72.0);
  CHECK(room.seed == 99);
  REQUIRE(room.speakers.size() == 3);
  const VirtualSpeaker& l = speaker(room, "L");
  CHECK(l.position_m == Point{-0.5, 1.0, 0.25});
  CHECK(l.model == "two-way-inverting");
  CHECK(l.crossover_hz == 3'000.0);
  CHECK(l.band == Band{Hertz{60.0}, Hertz{18'000.0}});
  CHECK(l.gain_db == -2.0);
  CHECK(l.inverted);
  CHECK(l.extra_delay_ms == 1.5);
  CHECK(l.second_harmonic_percent == 0.3);
  CHECK(l.third_harmonic_percent == 0.1);
  CHECK(l.plays_output == 2);
  const VirtualSpeaker& r = speaker(room, "R");
  CHECK(distance_m(r.position_m, Point{0.8660254, 0.0, 0.5}) < 1e-6);  // 90 degrees right, 30 up, 1 m
  CHECK(r.impulse_response_files == std::vector<std::string>{"/rooms/a.wav#3"});
  CHECK_FALSE(r.plays_output.has_value());
  CHECK(room.speakers[2].label == "second right");  // not in the rig: last
  CHECK(room.speakers[2].band.high.value() < 300.0);
}

TEST_CASE("one number absorbs alike on all walls, a reverberation time gives it by Eyring") {
  CHECK(parse("[room]\nabsorption = 0.25\n").absorption == std::array<double, 6>{0.25, 0.25, 0.25, 0.25, 0.25, 0.25});
  // 5.2 x 4.4 x 2.6 m: alpha = 1 - exp(-0.1001124 s / T x 343.2/c); at 20 degrees c = 343.2 m/s.
  const VirtualRoom room = parse("[room]\ntemperature_c = 20\nreverberation_time_s = 0.2806816\n");
  CHECK(room.absorption[0] == doctest::Approx(0.3).epsilon(1e-5));
  CHECK(room.absorption[5] == room.absorption[0]);
}

TEST_CASE("a speaker the rig calls a sub is one in the room") {
  const VirtualRoom room = parse(
      "[[speaker]]\nlabel = \"LFE\"\nposition_m = [1, 1, -0.5]\n"
      "[[speaker]]\nlabel = \"M1\"\nposition_m = [1, 1, 0]\n",
      simple_rig(1, true));
  CHECK(speaker(room, "LFE").model == "sub");
  CHECK(speaker(room, "LFE").band.high.value() < 300.0);
  CHECK(speaker(room, "M1").model == "two-way");
}

TEST_CASE("faults of a room file are named by line and key") {
  const std::string at = "/rooms/room.toml:";
  const auto with = [](const std::string& line) { return refusal("[[speaker]]\nlabel = \"L\"\n" + line + "\n"); };
  CHECK(has(refusal("[room]\nsize_m = [5, 4\n"), at + "2: "));
  CHECK(refusal("[room]\near_heigth_m = 2\n") ==
        at + "2, ear_heigth_m: unknown key in [room]; the nearest known key is ear_height_m");
  CHECK(refusal("[rooom]\n") == at + "1, rooom: unknown key at the top of the file; the nearest known key is room");
  CHECK(refusal("[recorder]\nlatency_ms = -1\n") ==
        at + "2, latency_ms: -1 is outside 0 to 1000 ms; write, for example, latency_ms = 12");
  CHECK(
      has(refusal("[recorder]\nsample_rate_hz = 48000.5\n"), at + "2, sample_rate_hz: 48000.5 is not a whole number"));
  CHECK(has(refusal("[noise]\nwhite_dbfs = nan\n"), at + "2, white_dbfs: nan is not a finite number"));
  CHECK(has(refusal("[noise]\nseed = 1.5\n"), at + "2, seed: the number 1.5 where a whole number is expected"));
  CHECK(has(refusal("[room]\nabsorption = 1.5\n"), at + "2, absorption: 1.5 is outside 0.001 to 1"));
  CHECK(refusal("[room]\nabsorption = [0.1, 0.2]\n") ==
        at + "2, absorption: a list of 2; write one number, or six: left, right, front, back, floor, ceiling");
  CHECK(has(refusal("[room]\nabsorption = [0.1, 0.2, 0.3, 0.4, 0.5, -1]\n"), at + "2, absorption: a wall is outside"));
  CHECK(
      has(refusal("[room]\nabsorption = [0.1, 0.2, 0.3, 0.4, 0.5, \"x\"]\n"), at + "2, absorption: a wall is outside"));
  CHECK(has(refusal("[room]\nabsorption = \"soft\"\n"), "where a number is expected"));
  CHECK(refusal("[room]\nreverberation_time_s = 0.3\nabsorption = 0.2\n") ==
        at + "3, absorption: given together with reverberation_time_s; keep one of them");
  CHECK(refusal("[room]\near_height_m = 3\n") ==
        at + "2, ear_height_m: the ear point is outside the walls; correct it, size_m or the other ear_ keys");
  CHECK(refusal("[[speaker]]\ngain_db = 1\n") ==
        at + "1, label: missing in this [[speaker]]; add, for example, label = \"L\"");
  CHECK(refusal("[[speaker]]\nlabel = \"Lx\"\n") ==
        at + "2, label: the rig has no speaker \"Lx\"; correct the label, or add plays_output");
  CHECK(refusal("[[speaker]]\nlabel = \"L\"\n[[speaker]]\nlabel = \"L\"\n") ==
        at + "4, label: \"L\" is there twice; rename or remove one");
  CHECK(with("model = \"three-way\"") ==
        at + "3, model: \"three-way\" is no model; write two-way, two-way-inverting, full-range, sub or silent");
  CHECK(with("position_m = [0, 9, 0]") ==
        at + "3, position_m: L stands outside the walls; move it inwards, or correct [room]");
  CHECK(with("azimuth_deg = 0\ndistance_m = 9") ==
        at + "4, distance_m: L stands outside the walls; move it inwards, or correct [room]");
  CHECK(has(with("position_m = [0, 1, 0]\nazimuth_deg = 3"), at + "3, position_m: given together with a direction"));
  CHECK(has(with("distance_m = 1"), "azimuth_deg: missing beside elevation_deg or distance_m"));
  CHECK(has(with("plays_output = 0"), at + "3, plays_output: 0 is outside 1 to 64"));
  CHECK(has(with("impulse_response_files = \"a.wav\""), "impulse_response_files: is not a list of file names"));
  CHECK(has(with("impulse_response_files = [1]"), "impulse_response_files: is not a list of file names"));
  CHECK(
      with("impulse_response_files = [\"a.wav\", \"b.wav\"]") ==
      at + "3, impulse_response_files: 2 files for 1 mic position; give one per [[position]] of the rig, in its order");
  CHECK(has(with("band_hz = [200, 100]"), "band_hz: the range runs backwards"));
}

TEST_CASE("a speaker of which neither file nor layout says anything is asked for by name") {
  CHECK(refusal("", simple_rig(1)) ==
        "/rooms/room.toml: says nothing of M1, and its layout neither; "
        "add a [[speaker]] with label = \"M1\" and position_m");
  CHECK(has(refusal("[[speaker]]\nlabel = \"M1\"\n", simple_rig(1)),
            "1, position_m: missing, and the layout has no place for this label; add position_m"));
  CHECK(
      refusal("[room]\nsize_m = [3, 4, 2.5]\n") ==
      "/rooms/room.toml: L would stand outside the walls at 2 m; add a [[speaker]] with label = \"L\" and position_m");
}

TEST_CASE("hostile room files are refused, not obeyed") {
  CHECK(has(refusal(std::string(2'000'000, '#')), "larger than 1 MiB"));
  CHECK_FALSE(refusal("x = " + std::string(100'000, '[')).empty());
  CHECK_FALSE(refusal("\xff\xfe").empty());
  CHECK_FALSE(refusal("room = 3\n").empty());
  CHECK_FALSE(refusal("speaker = [1]\n").empty());
  CHECK_FALSE(refusal("[speaker]\n").empty());
  CHECK_FALSE(refusal("[[room]]\n").empty());
  std::string many;
  for (int i = 0; i < 65; ++i) {
    many += "[[speaker]]\nlabel = \"S" + std::to_string(i) + "\"\nplays_output = 1\nposition_m = [0, 1, 0]\n";
  }
  CHECK(has(refusal(many), "more than 64 speakers"));
}

TEST_CASE("a room file is read from its folder, and what cannot be read is refused") {
  const TemporaryFolder folder;
  const std::filesystem::path path = folder.path() / "room.toml";
  write_bytes(path, "[[speaker]]\nlabel = \"L\"\nimpulse_response_files = [\"ir/l.wav\"]\n");
  const VirtualRoom room = read_virtual_room(path, stereo());
  CHECK(room.speakers[0].impulse_response_files[0] == (folder.path() / "ir/l.wav").string());
  CHECK(has(refusal_of([&] { (void)read_virtual_room(folder.path(), stereo()); }), "folder"));
  CHECK(has(refusal_of([&] { (void)read_virtual_room(folder.path() / "no.toml", stereo()); }), "no such file"));
  CHECK(has(refusal_of([&] { (void)read_virtual_room("/dev/zero", stereo()); }), "/dev/zero: "));
}

TEST_CASE("the demo room fits the demo rig") {
  const std::filesystem::path demo = std::filesystem::path{RINGTRUE_SOURCE_DIR} / "test_signals" / "demo";
  const Rig rig = read_rig(demo / "rig.toml");
  const VirtualRoom room = read_virtual_room(demo / "room.toml", rig);
  CHECK(room.speakers.size() == rig.speakers.size());
  CHECK(room.size_m == rig.room.size_m);
  for (const VirtualSpeaker& s : room.speakers) {
    CHECK_FALSE(s.inverted);
    CHECK_FALSE(s.plays_output.has_value());
  }
}

}  // namespace ringtrue
