#include "ringtrue/report/settings_table.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <sstream>

using namespace ringtrue;

namespace {

Calibration example() {
  Calibration calibration;
  calibration.rig.layout = "2.0";
  for (const auto& [label, output] : {std::pair{"R, right", 2}, std::pair{"L", 1}}) {
    Speaker speaker;
    speaker.label = label;
    speaker.output = output;
    calibration.rig.speakers.push_back(speaker);
    SpeakerResult result;
    result.label = label;
    result.output = output;
    calibration.speakers.push_back(result);
  }
  calibration.speakers[0].settings = {3.41, -3.4, true, {{FilterShape::low_shelf, 120.0, -2.5, 0.71}}};
  calibration.speakers[1].settings = {0.0, -0.5, false, {}};
  return calibration;
}

}  // namespace

// Worked out by hand from RFC 4180: CR LF at each line's end, quotes where a cell holds the separator.
TEST_CASE("CSV has one row a setting, in output order, numbers as numbers") {
  CHECK(format_settings_csv(example()) ==
        "Output,Speaker,Setting,Delay (ms),Trim (dB),Polarity,Filter,Shape,Frequency (Hz),Gain (dB),Q\r\n"
        "1,L,delay,0,,,,,,,\r\n"
        "1,L,trim,,-0.5,,,,,,\r\n"
        "1,L,polarity,,,normal,,,,,\r\n"
        "2,\"R, right\",delay,3.41,,,,,,,\r\n"
        "2,\"R, right\",trim,,-3.4,,,,,,\r\n"
        "2,\"R, right\",polarity,,,invert,,,,,\r\n"
        "2,\"R, right\",filter,,,,1,low shelf,120,-2.5,0.71\r\n");
}

TEST_CASE("a decimal comma parts the columns by semicolons") {
  const std::string csv = format_settings_csv(example(), {.decimal_comma = true});
  CHECK(csv.find("2;R, right;delay;3,41;;;;;;;\r\n") != std::string::npos);
  CHECK(has_decimal_comma("de_DE.UTF-8"));
  CHECK(has_decimal_comma("fr"));
  CHECK_FALSE(has_decimal_comma("C"));
  CHECK_FALSE(has_decimal_comma("en_GB"));
  CHECK_FALSE(has_decimal_comma("de_CH"));
  CHECK(with_decimal_commas("  7.05 ms, -1.5 dB (1.25). Up to 3.5-4.5. Of ringtrue 0.1.0 at 2.") ==
        "  7,05 ms, -1,5 dB (1,25). Up to 3,5-4,5. Of ringtrue 0.1.0 at 2.");
  CHECK(with_decimal_commas("recording1.5.wav /a/2.5/x 1.5/x.wav 2.5-room.wav 2.5kHz") ==
        "recording1.5.wav /a/2.5/x 1.5/x.wav 2.5-room.wav 2.5kHz");
}

TEST_CASE("a label that a spreadsheet would take for a formula is kept as text") {
  Calibration calibration = example();
  calibration.speakers[1].label = "=1+1";
  CHECK(format_settings_csv(calibration).find("1,'=1+1,delay,0") != std::string::npos);
}

TEST_CASE("a delay in samples, metres and feet") {
  // 3.41 ms at 48 kHz are 163.68 samples; at 22 degrees C, 343.2 sqrt(295.15 / 293.15) = 344.3687 m/s, 1.17430 m, which
  // are 3.85268 ft of 0.3048 m.
  Calibration calibration;
  CHECK(in_unit(3.41, DelayUnit::samples, calibration) == doctest::Approx(163.68).epsilon(1e-9));
  CHECK(in_unit(3.41, DelayUnit::metres, calibration) == doctest::Approx(1.17430).epsilon(1e-5));
  CHECK(in_unit(3.41, DelayUnit::feet, calibration) == doctest::Approx(3.85268).epsilon(1e-5));
  calibration.locating = Locating{.speed_of_sound_m_s = 350.0};  // found with the places: 3.41 ms are 1.1935 m
  CHECK(in_unit(3.41, DelayUnit::metres, calibration) == doctest::Approx(1.1935).epsilon(1e-9));
}

TEST_CASE("the typing list has one line to tick a value, at most 80 columns wide") {
  const std::string list = format_typing_list(example(), {.delay_unit = DelayUnit::samples, .decimal_comma = true});
  CHECK(list.find("    [ ]  delay           163,7  samples\n") != std::string::npos);
  CHECK(list.find("    [ ]  trim             -3,4  dB\n") != std::string::npos);
  CHECK(list.find("    [ ]  polarity       INVERT\n") != std::string::npos);
  CHECK(list.find("OUTPUT 1   L\n") < list.find("OUTPUT 2   R, right\n"));
  CHECK(std::ranges::count(list, '[') == 7);  // 3 for L, 3 and a filter for R
  std::istringstream lines{list};
  for (std::string line; std::getline(lines, line);) CHECK(line.size() <= 80);
}
