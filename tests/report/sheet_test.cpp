#include "ringtrue/report/sheet.hpp"

#include <doctest/doctest.h>

#include <sstream>
#include <string>
#include <vector>

#include "calibration/example.hpp"

using namespace ringtrue;

namespace {

std::vector<std::string> lines_of(const std::string& text) {
  std::istringstream stream{text};
  std::vector<std::string> lines;
  for (std::string line; std::getline(stream, line);) lines.push_back(line);
  return lines;
}

/// The example as a healthy rig: every speaker measured, nothing to say.
Calibration healthy() {
  Calibration calibration = test::example_calibration();
  calibration.findings.clear();
  for (auto& speaker : calibration.speakers) {
    speaker.status = Status::ok;
    speaker.measured.polarity = Polarity::normal;
    speaker.settings = {1.5, -2.0, false, {}};
  }
  return calibration;
}

bool contains(const std::string& text, const std::string& part) { return text.find(part) != std::string::npos; }

}  // namespace

TEST_CASE("the sheet has one row a speaker in output order with what to type") {
  const std::vector<std::string> expected{
      "Garden shed (custom)",
      "Not finished: no settings for Ltf. Read the reasons below first.",
      "",
      " Out  Speaker   Delay ms  Trim dB  Polarity  Result       +/- ms  +/- dB",
      "------------------------------------------------------------------------",
      "   1  R             0.00      0.0  INVERT    ok           0.0012   0.021",
      "   2  Ltf      -- leave as it is, see below  silent            -       -",
      "   3  L             3.41     -0.7  normal    ok           0.0012   0.021",
      "   4  LFE          12.34     -6.1  normal?   ok           0.0012   0.021",
  };
  const auto lines = lines_of(format_sheet(test::example_calibration()));
  REQUIRE(lines.size() > expected.size());
  for (std::size_t i = 0; i < expected.size(); ++i) CHECK(lines[i] == expected[i]);
}

TEST_CASE("a sub that was set for the best sum has no doubtful polarity") {
  CHECK(contains(format_sheet(test::example_calibration()), "? after a polarity"));
  const std::string sheet = format_sheet(test::bass_calibration());
  CHECK(contains(sheet, "   4  LFE          12.34     -6.1  normal    ok"));
  CHECK_FALSE(contains(sheet, "? after a polarity"));
}

TEST_CASE("the low end of each speaker has a table of its own where it is known") {
  CHECK_FALSE(contains(format_sheet(test::example_calibration()), "Low end"));
  const std::string sheet = format_sheet(test::bass_calibration());
  CHECK(contains(sheet,
                 " Out  Speaker     low -10  low -3  high -3  high -10  Crossover  Least S/N\n"
                 "--------------------------------------------------------------------------\n"
                 "   4  LFE              22      28      119       161             18 at 32 Hz\n"));
  CHECK(contains(sheet, "LFE at full scale, raised by 10 dB, needs +3.9 dB full scale"));
  for (const auto& line : lines_of(sheet)) CHECK(line.size() <= 80);
}

TEST_CASE("findings follow the table, the gravest first, in full words") {
  const std::string sheet = format_sheet(test::example_calibration());
  const auto stop =
      sheet.find("Put right first\n  * Nothing was heard from Ltf; switch it on and measure again. [silent-output]");
  const auto warn = sheet.find("Look at this\n  * R moves");
  const auto note = sheet.find("Good to know\n  * The recorder's clock");
  REQUIRE(stop != std::string::npos);
  REQUIRE(warn != std::string::npos);
  REQUIRE(note != std::string::npos);
  CHECK(stop < warn);
  CHECK(warn < note);
}

TEST_CASE("a healthy rig's sheet says so and has no empty sections") {
  const std::string sheet = format_sheet(healthy());
  CHECK(contains(sheet, "Every speaker was measured and nothing wrong was found: type these values in.\n"));
  for (const char* heading : {"Put right", "Look at", "Good to know", "Equaliser", "? after"}) {
    CAPTURE(heading);
    CHECK_FALSE(contains(sheet, heading));
  }
}

TEST_CASE("a note does not spoil the verdict and a warning does") {
  Calibration calibration = healthy();
  calibration.findings = {{Severity::note, "clock-drift", std::nullopt, "12 ppm"}};
  CHECK(contains(format_sheet(calibration), "nothing wrong was found"));
  calibration.findings = {{Severity::warn, "clock-drift", std::nullopt, "80 ppm"}};
  CHECK(contains(format_sheet(calibration), "Every speaker has settings, but read the points below"));
}

TEST_CASE("decimals follow the interface's steps") {
  Calibration calibration = healthy();
  calibration.rig.interface.delay_step_ms = 0.1;
  calibration.rig.interface.trim_step_db = 0.25;
  CHECK(contains(format_sheet(calibration), "   3  L              1.5    -2.00  normal"));
  calibration.rig.interface.delay_step_ms = 1.0 / 48.0;  // no finite decimal: four digits
  CHECK(contains(format_sheet(calibration), "   3  L           1.5000    -2.00  normal"));
}

TEST_CASE("the equaliser is listed where there is one") {
  CHECK(contains(format_sheet(test::example_calibration()),
                 "\nEqualiser\n"
                 " Out  Speaker  No  Shape             Hz   Gain dB       Q\n"
                 "   1  R         1  low shelf        120      -2.5     0.7\n"));
}

TEST_CASE("the sheet says what the filters are expected to do") {
  // Source: the example's numbers.
  const std::string sheet = format_sheet(test::bass_calibration());
  CHECK(contains(sheet, "\nExpected\n Out  Speaker  Before   After    Boost     Level   Outside\n"));
  CHECK(contains(sheet, "   1  R           3.2     1.5      2.5      -1.2  "));
  CHECK(contains(sheet, "Below 180 Hz (from the room's size and decay time)"));
}

TEST_CASE("distances are listed in the units interfaces ask for, and delays too") {
  // By hand: 1.7652 m = 5.79 feet (0.3048 m); at 344.37 m/s 5.126 ms, 246 samples of 48 kHz. 3.41 ms are 164 samples,
  // 1.174 m, 3.853 feet.
  const std::string sheet = format_sheet(test::example_calibration());
  CHECK(contains(sheet, "Distances from the listening position\n"));
  CHECK(contains(sheet, "   1  R           1.77     5.79     5.13       246    0.01\n"));
  CHECK(contains(sheet, "   2  Ltf            -        -        -         -       -\n"));
  CHECK(contains(sheet, "   3  L          3.410       164    1.174    3.853\n"));
  CHECK(contains(sheet, "   1  R          -29.9        0.7      0.4\n"));
  Calibration unknown = healthy();
  for (auto& speaker : unknown.speakers) {
    speaker.measured.found.reset();
    for (auto& position : speaker.measured.positions) position.distance_m.reset();
  }
  CHECK_FALSE(contains(format_sheet(unknown), "Distances from"));
}

TEST_CASE("an uncertainty too small to show is not shown as none") {
  Calibration calibration = healthy();
  calibration.speakers[1].measured.positions[0].arrival_uncertainty_ms = 0.00004;
  calibration.speakers[1].measured.positions[0].level_uncertainty_db = 0.0;
  CHECK(contains(format_sheet(calibration), "normal    ok          <0.0001  <0.001\n"));
}

TEST_CASE("no line of the sheet is longer than 80 columns, whatever the rig holds") {
  Calibration calibration = test::example_calibration();
  calibration.rig.name = std::string(200, 'n');
  calibration.speakers[0].label = std::string(100, 'l');
  calibration.speakers[0].output = 1'024;
  calibration.speakers[0].settings = {
      12345.6789, -123.4567, true, {20, Filter{FilterShape::peak, 1.0 / 3.0, 0.1, 1e9}}};
  calibration.speakers[1].settings = {1e300, -1e300, true, {}};
  calibration.speakers[1].measured.positions[0].level_uncertainty_db = 1e300;
  calibration.speakers[1].measured.positions[0].arrival_uncertainty_ms = 1e300;
  for (auto& finding : calibration.findings) finding.message += ' ' + std::string(300, 'x') + " and more words";
  const std::string sheet = format_sheet(calibration);
  REQUIRE(sheet.ends_with('\n'));
  for (const auto& line : lines_of(sheet)) {
    CAPTURE(line);
    CHECK(line.size() <= 80);
  }
}

TEST_CASE("labels and messages cannot act on the terminal") {
  Calibration calibration = test::example_calibration();
  calibration.rig.name = "a\x1b[2Jb";
  calibration.speakers[0].label = "L\x1b]0;x\x07";
  calibration.findings[0].message = "first\nsecond\x1b[31m";
  const std::string sheet = format_sheet(calibration);
  CHECK_FALSE(contains(sheet, "\x1b"));
  CHECK_FALSE(contains(sheet, "\x07"));
  CHECK(contains(sheet, "first?second"));
}
