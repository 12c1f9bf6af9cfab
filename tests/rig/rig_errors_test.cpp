#include <doctest/doctest.h>

#include <string>
#include <vector>

#include "rig_messages.hpp"

// One case for each kind of mistake a person can make in rig.toml, with the whole message they read. The expected
// texts are the specification: file:line, key: what; what to do.

namespace ringtrue {
namespace {

struct Mistake {
  std::string text;
  std::string message;
};

void check_all(const std::vector<Mistake>& mistakes) {
  for (const Mistake& mistake : mistakes) {
    CAPTURE(mistake.text);
    CHECK(test::message_of(mistake.text) == mistake.message);
  }
}

/// Mistakes in the line after a table's header, which is line 3 of the file.
struct Setting {
  std::string line;
  std::string message;  // after "rig.toml:3, "
};

void check_settings(const std::string& table, const std::vector<Setting>& settings) {
  for (const Setting& setting : settings) {
    CAPTURE(setting.line);
    CHECK(test::message_of(test::with_setting(table, setting.line)) == "rig.toml:3, " + setting.message);
  }
}

const std::string second = "[[speaker]]\nlabel = ";  // lines 5 and 6 after one speaker

std::string two_speakers(const std::string& label, const std::string& output) {
  return "layout = \"7.1.4\"\n" + test::one_speaker + second + label + "\noutput = " + output + '\n';
}

}  // namespace

TEST_CASE("missing keys are named with the table that lacks them") {
  check_all({
      {test::one_speaker, "rig.toml:1, layout: missing; add, for example, layout = \"7.1.4\""},
      {"layout = \"2.0\"\n",
       "rig.toml:1, speaker: missing; add a [[speaker]] with label and output for each loudspeaker"},
      {"layout = \"2.0\"\nspeaker = []\n",
       "rig.toml:2, speaker: missing; add a [[speaker]] with label and output for each loudspeaker"},
      {"layout = \"2.0\"\n[[speaker]]\noutput = 1\n",
       "rig.toml:2, label: missing in this [[speaker]]; add, for example, label = \"L\""},
      {"layout = \"2.0\"\n" + test::one_speaker + "[[speaker]]\nlabel = \"R\"\n",
       "rig.toml:5, output: missing in this [[speaker]]; add, for example, output = 1"},
  });
}

TEST_CASE("an unknown key is refused with its line and the nearest known key") {
  check_all({
      {test::with_setting("[interface]", "trim_steps_db = 0.1"),
       "rig.toml:3, trim_steps_db: unknown key in [interface]; the nearest known key is trim_step_db"},
      {test::with_setting("[room]", "ear_hight_m = 1"),
       "rig.toml:3, ear_hight_m: unknown key in [room]; the nearest known key is ear_height_m"},
      {test::with_setting("[bass_management]", "crossover = 80"),
       "rig.toml:3, crossover: unknown key in [bass_management]; the nearest known key is crossover_hz"},
      {test::with_setting("[[position]]", "offset = [0, 0, 0]"),
       "rig.toml:3, offset: unknown key in [[position]]; the nearest known key is offset_m"},
      {test::with_speaker("\"L\"", "1", "bandhz = [50, 20000]"),
       "rig.toml:5, bandhz: unknown key in [[speaker]]; the nearest known key is band_hz"},
      {"layuot = \"7.1.4\"\n" + test::one_speaker,
       "rig.toml:1, layuot: unknown key at the top of the file; the nearest known key is layout"},
      {test::with_setting("[interfaces]", "eq_bands = 4"),
       "rig.toml:2, interfaces: unknown key at the top of the file; the nearest known key is interface"},
      {test::with_setting("[room]", "\"line\\nbreak\" = 1"),
       "rig.toml:3, line?break: unknown key in [room]; the nearest known key is size_m"},
  });
}

TEST_CASE("of several unknown keys the first in the file is named") {
  CHECK(test::message_of("zebra = 1\nalpha = 2\n").starts_with("rig.toml:1, zebra: unknown key"));
}

TEST_CASE("a known key in the wrong table is told where it belongs") {
  check_all({
      {"sample_rate_hz = 48000\nlayout = \"2.0\"\n" + test::one_speaker,
       "rig.toml:1, sample_rate_hz: unknown key at the top of the file; it belongs under [interface]"},
      {test::with_speaker("\"L\"", "1", "name = \"Attic\""),
       "rig.toml:5, name: unknown key in [[speaker]]; it belongs at the top of the file, before the first [table]"},
      {test::with_setting("[room]", "offset_m = [0, 0, 0]"),
       "rig.toml:3, offset_m: unknown key in [room]; it belongs under [[position]]"},
  });
}

TEST_CASE("a value of the wrong type is described, with what is expected and an example") {
  check_settings(
      "[interface]",
      {{"sample_rate_hz = \"48k\"",
        "sample_rate_hz: the text \"48k\" where a number is expected; write, for example, sample_rate_hz = "
        "48000"},
       {"trim_step_db = true", "trim_step_db: true where a number is expected; write, for example, trim_step_db = 0.1"},
       {"trim_step_db = 2024-01-31",
        "trim_step_db: a date where a number is expected; write, for example, trim_step_db = 0.1"},
       {"trim_step_db = [0.1]",
        "trim_step_db: a list where a number is expected; write, for example, trim_step_db = 0.1"},
       {"trim_step_db = {}",
        "trim_step_db: a table where a number is expected; write, for example, trim_step_db = 0.1"},
       {"eq_bands = 8.5",
        "eq_bands: the number 8.5 where a whole number is expected; write, for example, eq_bands = 8"},
       {"polarity_switch = 1",
        "polarity_switch: the number 1 where true or false is expected; write, for example, "
        "polarity_switch = true"},
       {"trim_range_db = -20",
        "trim_range_db: the number -20 where a list of 2 numbers is expected; write, for example, "
        "trim_range_db = [-20.0, 0.0]"},
       {"trim_range_db = [-20, -10, 0]",
        "trim_range_db: a list of 3 where 2 numbers are expected; write, for example, trim_range_db = "
        "[-20.0, 0.0]"},
       {"trim_range_db = [-20, \"0\"]",
        "trim_range_db: the text \"0\" where a number is expected; write, for example, trim_range_db = "
        "[-20.0, 0.0]"}});
}

TEST_CASE("a table written as something else is told how it is written") {
  check_all({
      {"layout = \"2.0\"\nroom = 5\n" + test::one_speaker,
       "rig.toml:2, room: the number 5 where a table is expected; write [room] on a line of its own, its keys below"},
      {"layout = \"2.0\"\n[[room]]\n" + test::one_speaker,
       "rig.toml:2, room: a list where a table is expected; write [room] on a line of its own, its keys below"},
      {"layout = \"2.0\"\n[speaker]\nlabel = \"L\"\noutput = 1\n",
       "rig.toml:2, speaker: a table where a list of tables is expected; write [[speaker]] with double brackets before "
       "each one"},
      {"layout = \"2.0\"\nspeaker = [1]\n",
       "rig.toml:2, speaker: the number 1 where a table is expected; write [[speaker]] with double brackets before "
       "each one"},
  });
}

TEST_CASE("numbers that cannot be are refused with their bounds") {
  check_settings(
      "[interface]",
      {{"sample_rate_hz = 32000",
        "sample_rate_hz: 32000 is outside 44100 to 192000 Hz; write, for example, sample_rate_hz = 48000"},
       {"sample_rate_hz = 384000",
        "sample_rate_hz: 384000 is outside 44100 to 192000 Hz; write, for example, sample_rate_hz = 48000"},
       {"sample_rate_hz = 48000.5",
        "sample_rate_hz: 48000.5 is not a whole number; write, for example, sample_rate_hz = 48000"},
       {"trim_step_db = -0.1", "trim_step_db: -0.1 is outside 0.001 to 10 dB; write, for example, trim_step_db = 0.1"},
       {"trim_step_db = 0", "trim_step_db: 0 is outside 0.001 to 10 dB; write, for example, trim_step_db = 0.1"},
       {"delay_step_ms = -0.01",
        "delay_step_ms: -0.01 is outside 0.0001 to 10 ms; write, for example, delay_step_ms = 0.01"},
       {"delay_range_ms = [-1, 40]",
        "delay_range_ms: -1 is outside 0 to 10000 ms; write, for example, delay_range_ms = [0.0, 40.0]"},
       {"eq_bands = -1", "eq_bands: -1 is outside 0 to 64; write, for example, eq_bands = 8"},
       {"eq_bands = 9223372036854775807",
        "eq_bands: 9.223372036854776e+18 is outside 0 to 64; write, for example, eq_bands = 8"},
       {"eq_q_range = [0, 10]", "eq_q_range: 0 is outside 0.05 to 200; write, for example, eq_q_range = [0.4, 10.0]"},
       {"loopback_output = 65", "loopback_output: 65 is outside 1 to 64; write, for example, loopback_output = 16"},
       {"trim_step_db = nan", "trim_step_db: nan is not a finite number; write, for example, trim_step_db = 0.1"},
       {"trim_range_db = [-inf, 0]",
        "trim_range_db: -inf is not a finite number; write, for example, trim_range_db = [-20.0, 0.0]"}});
  check_settings(
      "[room]",
      {{"size_m = [5.2, 4.4, 260]", "size_m: 260 is outside 1 to 100 m; write, for example, size_m = [5.2, 4.4, 2.6]"},
       {"ear_height_m = 120", "ear_height_m: 120 is outside 0.2 to 20 m; write, for example, ear_height_m = 1.2"},
       {"temperature_c = 295",
        "temperature_c: 295 is outside -20 to 50 degrees C; write, for example, temperature_c = 22"}});
  check_settings(
      "[bass_management]",
      {{"crossover_hz = 5000", "crossover_hz: 5000 is outside 20 to 500 Hz; write, for example, crossover_hz = 80"},
       {"lfe_gain_db = 100", "lfe_gain_db: 100 is outside -30 to 30 dB; write, for example, lfe_gain_db = 10"},
       {"slope = \"LR25\"", "slope: \"LR25\" is no crossover slope; write LR12, LR24, LR36, LR48, BW12, BW18 or BW24"},
       {"slope = \"lr24\"", "slope: \"lr24\" is no crossover slope; write LR12, LR24, LR36, LR48, BW12, BW18 or BW24"},
       {"slope = 24", "slope: the number 24 where text in quotes is expected; write, for example, slope = \"LR24\""}});
}

TEST_CASE("values that contradict each other are refused") {
  check_settings(
      "[interface]",
      {{"trim_range_db = [0, -20]",
        "trim_range_db: the range runs backwards, from 0 to -20; write the smaller number first, trim_range_db = [-20, "
        "0]"},
       {"delay_range_ms = [40, 0]",
        "delay_range_ms: the range runs backwards, from 40 to 0; write the smaller number first, delay_range_ms = [0, "
        "40]"},
       {"eq_frequency_range_hz = [20, 30000]",
        "eq_frequency_range_hz: 30000 Hz is above half the sample rate, 24000 Hz; lower it or correct sample_rate_hz"},
       {"trim_step_db = 6\ntrim_range_db = [-3, 0]",
        "trim_step_db: a step of 6 does not fit the range of 3 dB; write the range and the step the interface has"},
       {"delay_step_ms = 10\ndelay_range_ms = [0, 5]",
        "delay_step_ms: a step of 10 does not fit the range of 5 ms; write the range and the step the interface has"},
       {"eq_gain_step_db = 10\neq_gain_range_db = [-6, 3]",
        "eq_gain_step_db: a step of 10 does not fit the range of 9 dB; write the range and the step the interface "
        "has"},
       {"loopback_output = 1",
        "loopback_output: 1 also drives \"L\"; choose an output that drives no speaker, or leave the key out"}});
  check_settings("[room]",
                 {{"ear_height_m = 2.6\nsize_m = [5.2, 4.4, 2.6]",
                   "ear_height_m: 2.6 m is not below the ceiling at 2.6 m; correct it or size_m, which is length, "
                   "width, height"}});
  // The defaults count too: the range written here does not hold the default step, on the table's own line.
  CHECK(test::message_of(test::with_setting("[interface]", "trim_range_db = [-0.05, 0]")) ==
        "rig.toml:2, trim_step_db: a step of 0.1 does not fit the range of 0.05 dB; write the range and the step the "
        "interface has");
}

TEST_CASE("a crossover of its own belongs to a main in a rig with bass management") {
  const std::string bass = "layout = \"7.1.4\"\n[bass_management]\n";
  CHECK(test::message_of(bass + test::one_speaker + "crossover_hz = 120\n") == "");
  check_all({
      {bass + test::one_speaker + "crossover_hz = 1200\n",
       "rig.toml:6, crossover_hz: 1200 is outside 20 to 500 Hz; write, for example, crossover_hz = 80"},
      {bass + test::one_speaker + "kind = \"sub\"\ncrossover_hz = 120\n",
       "rig.toml:7, crossover_hz: a sub has no crossover of its own; write it with the mains that have another one "
       "than "
       "[bass_management]"},
      {test::with_speaker("\"L\"", "1", "lfe_only = true"),
       "rig.toml:5, lfe_only: a main is no LFE output; write it with the sub that plays the LFE alone"},
      {test::with_speaker("\"L\"", "1", "crossover_hz = 120"),
       "rig.toml:5, crossover_hz: the rig has no [bass_management]; add that table or remove the key"},
  });
}

TEST_CASE("labels, outputs, kinds and bands that cannot be are refused") {
  check_all({
      {test::with_speaker("\"\"", "1"), "rig.toml:3, label: the text is empty; write, for example, label = \"L\""},
      {test::with_speaker("\"A label of 34 letters is too long.\"", "1"),
       "rig.toml:3, label: \"A label of 34 letters is too long.\" has 34 characters; use at most 32"},
      {test::with_speaker("\" L\"", "1"), "rig.toml:3, label: \" L\" begins or ends with a blank; take the blank away"},
      {test::with_speaker("\"L\\n\"", "1"),
       "rig.toml:3, label: \"L?\" contains a control character; write, for example, label = \"L\""},
      {test::with_speaker("3", "1"),
       "rig.toml:3, label: the number 3 where text in quotes is expected; write, for example, label = \"L\""},
      {test::with_speaker("\"L\"", "0"), "rig.toml:4, output: 0 is outside 1 to 64; write, for example, output = 1"},
      {test::with_speaker("\"L\"", "65"), "rig.toml:4, output: 65 is outside 1 to 64; write, for example, output = 1"},
      {test::with_speaker("\"L\"", "1.0"),
       "rig.toml:4, output: the number 1 where a whole number is expected; write, for example, output = 1"},
      {test::with_speaker("\"L\"", "1", "kind = \"woofer\""),
       "rig.toml:5, kind: \"woofer\" is no kind of speaker; write kind = \"main\" or kind = \"sub\""},
      {test::with_speaker("\"L\"", "1", "elevation_deg = 30"),
       "rig.toml:5, elevation_deg: stands without an azimuth; add azimuth_deg, positive to the left"},
      {test::with_speaker("\"L\"", "1", "azimuth_deg = 181"),
       "rig.toml:5, azimuth_deg: 181 is outside -180 to 180 degrees; write, for example, azimuth_deg = 30"},
      {test::with_speaker("\"L\"", "1", "band_hz = [20000, 50]"),
       "rig.toml:5, band_hz: the range runs backwards, from 20000 to 50; write the smaller number first, band_hz = "
       "[50, 20000]"},
      {test::with_speaker("\"L\"", "1", "band_hz = [50, 24001]"),
       "rig.toml:5, band_hz: 24001 Hz is above half the sample rate, 24000 Hz; lower it or correct sample_rate_hz"},
      {test::with_speaker("\"L\"", "1", "band_hz = [0, 20000]"),
       "rig.toml:5, band_hz: 0 is outside 1 to 96000 Hz; write, for example, band_hz = [50, 20000]"},
      {test::with_speaker("\"L\"", "1", "band_hz = [100, 130]"),
       "rig.toml:5, band_hz: 100 to 130 Hz is less than half an octave; write the whole band the speaker plays, e.g. "
       "band_hz = [50, 20000]"},
  });
}

TEST_CASE("names and layouts that cannot be printed on a sheet are refused") {
  check_all({
      {"layout = \"\"\n" + test::one_speaker,
       "rig.toml:1, layout: the text is empty; write, for example, layout = \"7.1.4\""},
      {"layout = \"" + std::string(61, 'x') + "\"\n" + test::one_speaker,
       "rig.toml:1, layout: \"" + std::string(40, 'x') + "...\" has 61 characters; use at most 60"},
      {"layout = \"2.0\"\nname = \"a\\tb\"\n" + test::one_speaker,
       "rig.toml:2, name: \"a?b\" contains a control character; write, for example, name = \"Attic room\""},
      {"layout = \"2.0\"\nname = \"" + std::string(101, 'n') + "\"\n" + test::one_speaker,
       "rig.toml:2, name: \"" + std::string(40, 'n') + "...\" has 101 characters; use at most 100"},
  });
}

TEST_CASE("two speakers with one output or one label are refused with both lines") {
  check_all({
      {two_speakers("\"R\"", "1"),
       "rig.toml:7, output: 1 is already the output of \"L\" on line 4; give each speaker its own output"},
      {two_speakers("\"L\"", "2"),
       "rig.toml:6, label: \"L\" is already the label on line 3; give each speaker its own label"},
      {two_speakers("\"l\"", "2"),
       "rig.toml:6, label: \"l\" differs only in capitals from \"L\", the label on line 3; give each speaker its own "
       "label"},
      {two_speakers("\"M+030\"", "2"),
       "rig.toml:6, label: \"M+030\" is the same channel of 7.1.4 as \"L\", the label on line 3; give each speaker its "
       "own label"},
  });
}

TEST_CASE("mic positions further than 5 m from the ear are refused") {
  check_settings(
      "[[position]]",
      {{"offset_m = [250, 0, 0]", "offset_m: 250 is outside -5 to 5 m; write, for example, offset_m = [0.0, 0.0, 0.0]"},
       {"offset_m = [4, 4, 0]",  // 4 sqrt(2) = 5.66
        "offset_m: 5.66 m is too far from the ear point; keep mic positions within 5 m; offsets are "
        "metres"},
       {"offset_m = [0, 0]",
        "offset_m: a list of 2 where 3 numbers are expected; write, for example, offset_m = [0.0, 0.0, "
        "0.0]"},
       {"offset_m = [0, 0, inf]",
        "offset_m: inf is not a finite number; write, for example, offset_m = [0.0, 0.0, 0.0]"}});
}

}  // namespace ringtrue
