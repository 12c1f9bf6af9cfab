#include "ringtrue/rig/rig_file.hpp"

#include <doctest/doctest.h>

#include <fstream>
#include <sstream>

#include "rig_messages.hpp"
#include "ringtrue/core/errors.hpp"
#include "temporary_folder.hpp"

namespace ringtrue {
namespace {

Speaker only_speaker(const std::string& text) {
  const Rig rig = parse_rig(text, "rig.toml");
  REQUIRE(rig.speakers.size() == 1);
  return rig.speakers.front();
}

}  // namespace

TEST_CASE("a rig of layout and speakers alone has every default of the contract") {
  // Source: the contract's rig.toml, "everything else has the default shown".
  const Rig rig = parse_rig("layout = \"4+7+0\"\n" + test::one_speaker, "rig.toml");
  CHECK(rig.name.empty());
  CHECK(rig.layout == "4+7+0");
  CHECK_FALSE(rig.room.size_m.has_value());
  CHECK(rig.room.ear_height_m == 1.2);
  CHECK(rig.room.temperature_c == 22.0);
  CHECK(rig.interface.sample_rate_hz == 48'000.0);
  CHECK(rig.interface.trim_range_db == std::array{-20.0, 0.0});
  CHECK(rig.interface.trim_step_db == 0.1);
  CHECK(rig.interface.delay_range_ms == std::array{0.0, 40.0});
  CHECK(rig.interface.delay_step_ms == 0.01);
  CHECK(rig.interface.eq_bands == 8);
  CHECK(rig.interface.eq_gain_range_db == std::array{-12.0, 3.0});
  CHECK(rig.interface.eq_gain_step_db == 0.1);
  CHECK(rig.interface.eq_q_range == std::array{0.4, 10.0});
  CHECK(rig.interface.eq_frequency_range_hz == std::array{20.0, 20'000.0});
  CHECK(rig.interface.polarity_switch);
  CHECK_FALSE(rig.interface.loopback_output.has_value());
  CHECK_FALSE(rig.bass_management.has_value());
  CHECK(rig.speakers == std::vector<Speaker>{{"L", 1, SpeakerKind::main, {Hertz{50.0}, Hertz{20'000.0}}}});
  CHECK(rig.positions == std::vector<MicPosition>{MicPosition{}});
}

TEST_CASE("every key of the contract is read") {
  const Rig rig = parse_rig(R"(
    name = "Attic room"
    layout = "7.1.4"
    [room]
    size_m = [6.0, 4.0, 2.5]
    ear_height_m = 1.1
    temperature_c = 19.5
    [interface]
    sample_rate_hz = 96000
    trim_range_db = [-60, 12]
    trim_step_db = 0.5
    delay_range_ms = [0.0, 100.0]
    delay_step_ms = 0.1
    eq_bands = 0
    eq_gain_range_db = [-6.0, 6.0]
    eq_gain_step_db = 0.25
    eq_q_range = [0.5, 5]
    eq_frequency_range_hz = [30, 16000]
    polarity_switch = false
    loopback_output = 16
    [bass_management]
    crossover_hz = 100
    lfe_gain_db = 0
    slope = "BW18"
    [[speaker]]
    label = "Lss"
    output = 3
    kind = "main"
    band_hz = [60, 18000]
    crossover_hz = 120
    [[position]]
    [[position]]
    offset_m = [0.1, -0.2, 0.3]
  )",
                            "rig.toml");
  Rig expected;
  expected.name = "Attic room";
  expected.layout = "7.1.4";
  expected.room = {{{6.0, 4.0, 2.5}}, 1.1, 19.5};
  expected.interface = {96'000.0,    {-60.0, 12.0}, 0.5,        {0.0, 100.0},     0.1,   0,
                        {-6.0, 6.0}, 0.25,          {0.5, 5.0}, {30.0, 16'000.0}, false, 16};
  expected.bass_management = BassManagement{100.0, 0.0, CrossoverSlope::bw18};
  expected.speakers = {{"Lss", 3, SpeakerKind::main, {Hertz{60.0}, Hertz{18'000.0}}, 120.0}};
  expected.positions = {{}, {{0.1, -0.2, 0.3}}};
  CHECK(rig == expected);
}

TEST_CASE("an empty [bass_management] means 80 Hz, 10 dB and 24 dB/octave") {
  // Source: the contract's rig.toml.
  const Rig rig = parse_rig("layout = \"5.1\"\n[bass_management]\n" + test::one_speaker, "rig.toml");
  CHECK(rig.bass_management == BassManagement{80.0, 10.0, CrossoverSlope::lr24});
}

TEST_CASE("every crossover slope is read") {
  for (const CrossoverSlope slope : crossover_slopes) {
    const std::string setting = std::string{"slope = \""} + name(slope) + '"';
    CHECK(parse_rig(test::with_setting("[bass_management]", setting), "rig.toml").bass_management->slope == slope);
  }
}

TEST_CASE("a speaker is a sub when its label says so and nothing else is written") {
  for (const char* label : {"\"LFE\"", "\"LFE2\"", "\"lfe1\"", "\"Sub\"", "\"SUB-left\"", "\"subwoofer\""}) {
    CAPTURE(label);
    const Speaker speaker = only_speaker(test::with_speaker(label, "4"));
    CHECK(speaker.kind == SpeakerKind::sub);
    CHECK(speaker.band == Band{Hertz{20.0}, Hertz{200.0}});
  }
  for (const char* label : {"\"L\"", "\"LF\"", "\"MySub\"", "\"M+030\""}) {
    CAPTURE(label);
    CHECK(only_speaker(test::with_speaker(label, "4")).kind == SpeakerKind::main);
  }
  CHECK(only_speaker(test::with_speaker("\"LFE\"", "4", "kind = \"main\"")).kind == SpeakerKind::main);
  CHECK(only_speaker(test::with_speaker("\"Bass\"", "4", "kind = \"sub\"")).band.high == Hertz{200.0});
}

TEST_CASE("a default band ends at 0.45 of the sample rate, a written one where it says") {
  const std::string rate = "layout = \"2.0\"\n[interface]\nsample_rate_hz = 44100\n" + test::one_speaker;
  CHECK(only_speaker(rate).band.high.value() == 0.45 * 44'100.0);  // 19845 Hz, below the usual 20 kHz
  CHECK(only_speaker(rate + "band_hz = [40, 22050]\n").band == Band{Hertz{40.0}, Hertz{22'050.0}});
}

TEST_CASE("a layout does not demand its speakers, nor refuse others") {
  const std::string extra =
      "layout = \"7.1.4\"\n" + test::one_speaker + "[[speaker]]\nlabel = \"Balcony.2\"\noutput = 9\n";
  CHECK(parse_rig(extra, "rig.toml").speakers.size() == 2);
  CHECK(parse_rig("layout = \"ring of eleven\"\n" + test::one_speaker, "rig.toml").layout == "ring of eleven");
}

TEST_CASE("labels of one channel may stand together where the layout is not known") {
  const std::string speakers = test::one_speaker + "[[speaker]]\nlabel = \"M+030\"\noutput = 2\n";
  CHECK(parse_rig("layout = \"garden\"\n" + speakers, "rig.toml").speakers.size() == 2);
  CHECK_THROWS_AS((void)parse_rig("layout = \"2.0\"\n" + speakers, "rig.toml"), InvalidInput);
}

TEST_CASE("other spellings of the same TOML give the same rig") {
  const Rig plain = parse_rig("layout = \"7.1.4\"\n[room]\near_height_m = 1\n" + test::one_speaker, "rig.toml");
  CHECK(parse_rig("\xEF\xBB\xBFlayout = '7.1.4'\r\nroom.ear_height_m = 1.0\r\n"
                  "speaker = [ { label = 'L', output = 0x1 } ] # inline\r\nposition = []",
                  "rig.toml") == plain);
}

TEST_CASE("values on their bounds are accepted") {
  for (const char* setting :
       {"sample_rate_hz = 44100", "sample_rate_hz = 192000", "trim_range_db = [0, 0]", "delay_range_ms = [0, 0]",
        "eq_bands = 64", "eq_gain_range_db = [0, 0]", "loopback_output = 64", "trim_step_db = 10",
        "eq_frequency_range_hz = [1, 24000]", "trim_range_db = [-0.1, 0]"}) {
    CAPTURE(setting);
    CHECK(test::message_of(test::with_setting("[interface]", setting)) == "");
  }
  CHECK(test::message_of(test::with_speaker("\"a234567890123.+-\"", "64")) == "");            // 16 characters
  CHECK(test::message_of(test::with_setting("[[position]]", "offset_m = [3, 4, 0]")) == "");  // 5 m: 3-4-5 triangle
}

TEST_CASE("read_rig reads what parse_rig reads, and names the file in its errors") {
  const test::TemporaryFolder folder;
  const auto path = folder.path() / "my rig.toml";
  std::ofstream{path} << "layout = \"5.1\"\n" << test::one_speaker;
  CHECK(read_rig(path) == parse_rig("layout = \"5.1\"\n" + test::one_speaker, "rig.toml"));
  std::ofstream{path} << "layout = 5\n" << test::one_speaker;
  CHECK_THROWS_WITH_AS((void)read_rig(path),
                       (path.string() + ":1, layout: the number 5 where text in quotes is expected; "
                                        "write, for example, layout = \"7.1.4\"")
                           .c_str(),
                       InvalidInput);
}

TEST_CASE("the demo rig is written as format_rig writes a rig, after a line of its own") {
  const std::filesystem::path path = RINGTRUE_SOURCE_DIR "/test_signals/demo/rig.toml";
  std::ostringstream text;
  text << std::ifstream{path}.rdbuf();
  CHECK(text.str().substr(text.str().find('\n') + 1) == format_rig(read_rig(path)));
}

TEST_CASE("the demo rig is a 7.1.4 ring on outputs 1 to 12 in the common order") {
  const Rig rig = read_rig(RINGTRUE_SOURCE_DIR "/test_signals/demo/rig.toml");
  CHECK(rig.layout == "4+7+0");
  CHECK(rig.room.size_m == std::array{5.2, 4.4, 2.6});
  CHECK(rig.interface.loopback_output == 16);
  CHECK(rig.bass_management == BassManagement{});
  const std::vector<std::string> labels{"L", "R", "C", "LFE", "Lss", "Rss", "Lrs", "Rrs", "Ltf", "Rtf", "Ltr", "Rtr"};
  REQUIRE(rig.speakers.size() == labels.size());
  for (std::size_t i = 0; i < labels.size(); ++i) {
    CHECK(rig.speakers[i].label == labels[i]);
    CHECK(rig.speakers[i].output == static_cast<int>(i) + 1);
  }
  CHECK(rig.positions == std::vector<MicPosition>{{}, {{0.25, 0.0, 0.0}}, {{0.0, 0.25, 0.0}}, {{0.0, 0.0, 0.25}}});
  // Its interface is the contract's, which is the default.
  Interface contract;
  contract.loopback_output = 16;
  CHECK(rig.interface == contract);
}

}  // namespace ringtrue
