#include "ringtrue/capture/microphone_response_file.hpp"

#include <doctest/doctest.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <ctime>
#include <complex>

#include "microphone_texts.hpp"
#include "temporary_folder.hpp"

// The shapes that files of microphones have. Each holds the same four points, written in its own way.

namespace ringtrue {
namespace {

using namespace test;
using namespace std::string_literals;

const std::vector<double> four_hz{20.5, 200.0, 1'250.0, 20'000.0};
const std::vector<double> four_db{-1.5, 0.25, 0.0, -3.0};
const std::vector<double> four_deg{30.0, 5.5, 0.0, -45.25};

void check_four_points(std::string_view text, bool with_phase = false) {
  CAPTURE(text);
  const Reading reading = reading_of(text);
  CHECK(reading.refusal == "");
  if (!reading.file) return;
  CHECK(reading.file->response.frequencies_hz == four_hz);
  CHECK(reading.file->response.gains_db == four_db);
  CHECK(reading.file->response.phases_deg == (with_phase ? four_deg : std::vector<double>{}));
}

const std::string tabs = "20.5\t-1.5\n200\t0.25\n1250\t0\n20000\t-3\n";

}  // namespace

TEST_SUITE_BEGIN("microphone file");

TEST_CASE("columns may be separated in every usual way") {
  for (const char* text :
       {"20.5\t-1.5\n200\t0.25\n1250\t0\n20000\t-3\n", "20.5 -1.5\n200 0.25\n1250 0\n20000 -3",
        "   20.5    -1.5   \n    200    0.25   \n   1250    0.0   \n  20000    -3.0   \n",
        "20.5,-1.5\n200,0.25\n1250,0\n20000,-3\n", "20.5, -1.5\n200, 0.25\n1250, 0\n20000, -3\n",
        "20.5;-1.5\n200;0.25\n1250;0\n20000;-3\n", "20.5 ;\t-1.5\n200 ;\t0.25\n1250 ;\t0\n20000 ;\t-3\n",
        "20.5\t\t-1.5\n200\t\t0.25\n1250\t\t0\n20000\t\t-3\n", "20.5\t-1.5\t\n200\t0.25\t\n1250\t0\t\n20000\t-3\t\n",
        "20.5,-1.5,,\n200,0.25,,\n1250,0,,\n20000,-3,,\n,,,\n", "20.5|-1.5\n200|0.25\n1250|0\n20000|-3\n",
        "| Hz | dB |\n|----|----|\n| 20.5 | -1.5 |\n| 200 | 0.25 |\n| 1250 | 0 |\n| 20000 | -3 |\n",
        "\"20.5\",\"-1.5\"\n\"200\",\"0.25\"\n\"1250\",\"0\"\n\"20000\",\"-3\"\n",
        "20.5\u00A0-1.5\n200\u00A00.25\n1250\u00A00\n20000\u00A0-3\n"}) {
    check_four_points(text);
  }
}

TEST_CASE("numbers may have decimal commas, signs, exponents and units") {
  for (const char* text :
       {"20,5\t-1,5\n200\t0,25\n1250\t0\n20000\t-3\n", "20,5 -1,5\n200,0 0,25\n1250,0 0,0\n20000,0 -3,0\n",
        "20,5;-1,5\n200;0,25\n1250;0\n20000;-3\n", "20,5, -1,5\n200,0, 0,25\n1250,0, 0,0\n20000,0, -3,0\n",
        "\"20,5\",\"-1,5\"\n\"200,0\",\"0,25\"\n\"1250,0\",\"0,0\"\n\"20000,0\",\"-3,0\"\n",
        "+20.5 -1.5\n+200. +.25\n+1250 +0\n+20000 -3.\n", "2.05E+01 -1.5e0\n2e2 2.5E-1\n1.25e+3 0E0\n2E4 -3\n",
        "2.05D+01 -1.5D0\n2D2 2.5D-1\n1.25d+3 0D0\n2D4 -3\n",
        "20.5 \u22121.5\n200 0.25\n1250 0\n20000 \u20133\n",  // minus sign and en dash
        "20.5 Hz\t-1.5 dB\n200 Hz\t0.25 dB\n1250 Hz\t0 dB\n20000 Hz\t-3 dB\n",
        "20.5Hz,-1.5dB\n200Hz,0.25dB\n1250Hz,0dB\n20000Hz,-3dB\n",
        "20.5 Hz -1.5 dB\n0.2 kHz 0.25 dB\n1.25 kHz 0 dB\n20 kHz -3 dB\n", "20.5 -1.5\n200 0.25\n1.25k 0\n20k -3\n"}) {
    check_four_points(text);
  }
}

TEST_CASE("a decimal comma is told from a separating one by what makes sense of the most lines") {
  for (const char* text : {"20 -1,1\n160 0,4\n1000 0\n20000 -3,2\n", "20,-1.1\n160,0.4\n1000,0\n20000,-3.2\n"}) {
    CAPTURE(text);
    const Reading reading = reading_of(text);
    REQUIRE(reading.file);
    CHECK(reading.file->response.frequencies_hz == std::vector<double>{20.0, 160.0, 1'000.0, 20'000.0});
    CHECK(reading.file->response.gains_db == std::vector<double>{-1.1, 0.4, 0.0, -3.2});
  }
}

TEST_CASE("a third column is the phase") {
  for (const char* text :
       {"20.5 -1.5 30\n200 0.25 5.5\n1250 0 0\n20000 -3 -45.25\n",
        "20.5,-1.5,30\n200,0.25,5.5\n1250,0,0\n20000,-3,-45.25\n",
        "20,5;-1,5;30\n200;0,25;5,5\n1250;0;0\n20000;-3;-45,25\n",
        "F [Hz]\tAmpl [dB]\tPhase [M-0]\n20.5\t-1.5\t30\n200\t0.25\t5.5\n1250\t0\t0\n20000\t-3\t-45.25\n",
        "* Freq(Hz) SPL(dB) Phase(degrees)\n20.5 -1.5 30\n200 0.25 5.5\n1250 0 0\n20000 -3 -45.25\n",
        "20.5 Hz -1.5 dB 30\u00B0\n200 Hz 0.25 dB 5.5\u00B0\n1250 Hz 0 dB 0\u00B0\n20000 Hz -3 dB -45.25 deg\n"}) {
    check_four_points(text, true);
  }
}

TEST_CASE("a third column of remarks is no phase") {
  for (const char* rest : {"# ok", "# 5", "; 5 times", "ok", "* 5", "\"5\" ok", "// 5", "! 5", "n/a", "(checked)"}) {
    check_four_points("20.5\t-1.5\t" + std::string{rest} + "\n200\t0.25\n1250\t0\t" + rest + "\n20000\t-3\n");
  }
  check_four_points("20,5;-1,5;ok\n200;0,25;\n1250;0;;ok\n20000;-3\n");
}

TEST_CASE("a third column that the heading calls something else is ignored and said to be") {
  for (const char* heading :
       {"Frequency;0\u00B0 [dB];90\u00B0 [dB]", "Hz;dB;Uncertainty", "Frequency;Level (dB);90 deg"}) {
    CAPTURE(heading);
    const std::string text = heading + "\n20.5;-1.5;1\n200;0.25;2\n1250;0;3\n20000;-3;4\n"s;
    check_four_points(text);
    CHECK(
        notes(*reading_of(text).file, "Line 1 of the microphone's response does not name its third column as a phase"));
  }
}

TEST_CASE("comments, headings and empty lines may stand around the numbers") {
  for (const char* above : {"# a comment\n",
                            "* a comment 1 2\n",
                            "; 1 2\n",
                            "\"quoted 20.5 1\"\n",
                            "' 20 1\n",
                            "// 20 1\n",
                            "% 20 1\n",
                            "Frequency\tLevel\n",
                            "\"Frequency\",\"Level\"\n",
                            "Frequency   Level\n---------   -----\n",
                            "freq mag\n\n \t \n",
                            "Model,X\nSerial,1234\nDate,2020-01-01\nFrequency,dB\n",
                            "Sensitivity at 1000 Hz in mV/Pa\t12.34\nTitle\tmic\n",
                            "90 degrees\n",
                            "\"90 degree file\"\n",
                            "2021-03-05\n05.03.2021 12:30\n",
                            "1/3 octave\n",
                            "24 points per decade\n",
                            "frequency_hz,level_db\n",
                            "Gr\u00F6\u00DFe \u00B0\n"}) {
    check_four_points(above + tabs);
  }
  check_four_points("20.5\t-1.5\n\n# between\n200\t0.25\n* between\n1250\t0\n\"between\"\n20000\t-3\n// end\n");
}

TEST_CASE("lines may end in LF, CR LF, CR or all of them") {
  for (const char* end : {"\n", "\r\n", "\r", "\n\n", "\r\r\n"}) {
    check_four_points("20.5\t-1.5"s + end + "200\t0.25" + end + "1250\t0" + end + "20000\t-3" + end);
    check_four_points("* old"s + end + "20.5\t-1.5" + end + "200\t0.25" + end + "1250\t0" + end + "20000\t-3");
  }
  check_four_points("20.5\t-1.5\n200\t0.25\r1250\t0\r\n20000\t-3\r\n\x1A");  // and the end-of-file sign of DOS
}

TEST_CASE("the text may be UTF-8, UTF-16 or 8-bit") {
  const std::string text = "Frequency\tLevel\r\n20.5\t-1.5\r\n200\t0.25\r\n1250\t0\r\n20000\t-3\r\n";
  check_four_points("\xEF\xBB\xBF" + text);
  check_four_points("\xFF\xFE" + utf16(text, false));
  check_four_points("\xFE\xFF" + utf16(text, true));
  check_four_points(utf16(text, false));
  check_four_points(utf16(text, true));
  check_four_points(
      "# Gr\xF6\xDF"
      "e, 0\xB0\n" +
      tabs);  // ISO 8859-1
  check_four_points(
      "20.5\xA0-1.5\n200\xA0"
      "0.25\n1250 0\n20000 \x96"
      "3\n");  // Windows-1252: blank and dash
  check_four_points("# \xC3\xB6 \xE2\x82\xAC \xF0\x9F\x8E\xA4\n" + tabs);
}

TEST_CASE("lines may come in any order") {
  check_four_points("20000\t-3\n1250\t0\n200\t0.25\n20.5\t-1.5\n");
  const std::string shuffled = "1250\t0\n20.5\t-1.5\n20000\t-3\n200\t0.25\n";
  check_four_points(shuffled);
  CHECK(notes(*reading_of(shuffled).file, "were in no order and were sorted"));
  CHECK_FALSE(notes(*reading_of(tabs).file, "sorted"));
}

TEST_CASE("a sensitivity is kept with its unit") {
  struct Case {
    const char* line;
    MicrophoneSensitivity sensitivity;
  };
  for (const Case& c : {Case{"\"Sens Factor =-0.545dB, SERNO: 0000000\"", {-0.545, "dB"}},
                        {"\"Sens Factor =-12.345dB, AGain =18dB, SERNO: 0000000\"", {-12.345, "dB"}},
                        {"*1000Hz\t-38.5", {-38.5, "dB"}},
                        {"* 1000 Hz -38.5", {-38.5, "dB"}},
                        {"1000Hz\t-52.5", {-52.5, "dB"}},
                        {"1000 Hz = 12.5 mV/Pa", {12.5, "mV/Pa"}},
                        {"Sensitivity at 1000 Hz in mV/Pa\t12.34", {12.34, "mV/Pa"}},
                        {"# Sensitivity (mV/Pa): 12.34", {12.34, "mV/Pa"}},
                        {"; Empfindlichkeit: 12,5 mV/Pa", {12.5, "mV/Pa"}},
                        {"# sensitivity -26 dBV/Pa, serial 12345", {-26.0, "dBV/Pa"}}}) {
    CAPTURE(c.line);
    const std::string text = std::string{c.line} + '\n' + tabs;
    const Reading reading = reading_of(text);
    CHECK(reading.refusal == "");
    REQUIRE(reading.file);
    CHECK(reading.file->response.frequencies_hz == four_hz);
    REQUIRE(reading.file->response.sensitivity);
    CHECK(reading.file->response.sensitivity->value == c.sensitivity.value);
    CHECK(reading.file->response.sensitivity->unit == c.sensitivity.unit);
    CHECK(notes(*reading.file, "is not applied: levels stay relative"));
  }
}

TEST_CASE("a sensitivity without a unit is ignored with a note, a column of that name is none") {
  const Reading reading = reading_of("Sensitivity: 12.5\n" + tabs);
  REQUIRE(reading.file);
  CHECK_FALSE(reading.file->response.sensitivity);
  CHECK(notes(*reading.file,
              "Line 1 of the microphone's response speaks of a sensitivity, \"Sensitivity: 12.5\", but "
              "gives no number with a unit: it was ignored."));
  const Reading column = reading_of("Frequency,Sensitivity\n20,-1\n20000,1\n");
  REQUIRE(column.file);
  CHECK_FALSE(column.file->response.sensitivity);
  CHECK_FALSE(notes(*column.file, "sensitivity"));
}

TEST_CASE("what was read is said in one note, and what had to be assumed in more") {
  const Reading reading =
      reading_of("20 -1\n50 0\n100 0\n200 0\n400 0\n800 0\n1600 0\n3000 0\n6000 0\n12000 1\n20000 2\n");
  REQUIRE(reading.file);
  REQUIRE(reading.file->notes.size() == 2);
  CHECK(
      reading.file->notes[0] ==
      Finding{Severity::note, "mic-response", std::nullopt,
              "The microphone's response (11 points, 20 Hz to 20000 Hz, without phase) was taken out of every response "
              "and level."});
  CHECK(reading.file->notes[1].message ==
        "The microphone's response has no point between 20 Hz and 50 Hz: a straight line is drawn there.");
  CHECK(notes(*reading_of("50 -1\n10000 1\n").file, "covers only 50 Hz to 10000 Hz: beyond, its last value is held"));
  CHECK(notes(*reading_of("20 -38\n20000 -38.5\n").file, "is -38.3 dB at 1 kHz, not 0 dB: all levels shift by that"));
  CHECK(
      notes(*reading_of("20 1 5\n20000 1.5 2\n").file, "third column of the microphone's response was taken as phase"));
  CHECK(notes(*reading_of(tabs + "End of data\n").file,
              "Line 5 of the microphone's response and what follows it is text"));
  CHECK(notes(*reading_of("90 degrees\n" + tabs).file,
              "Line 1 of the microphone's response, \"90 degrees\", was taken as"));
}

TEST_CASE("a file is read from the disk, and what is no such file is refused with the reason") {
  const TemporaryFolder folder;
  const auto path = folder.path() / "mic.txt";
  write_bytes(path, tabs);
  CHECK(read_microphone_response(path).response.frequencies_hz == four_hz);
  const auto refusal = [](const std::filesystem::path& p) {
    return refusal_of([&] { (void)read_microphone_response(p); });
  };
  const auto name = [&](const char* file) { return (folder.path() / file).string(); };
  CHECK(refusal(folder.path() / "none.txt") ==
        name("none.txt") + ": there is no such file; check the name and the folder");
  CHECK(refusal(folder.path()) == folder.path().string() + ": is a folder; give the name of a file in it");
  CHECK(refusal("/dev/zero") == "/dev/zero: is a device or a pipe, not a file; save it to a file first");
  REQUIRE(mkfifo(name("pipe").c_str(), 0600) == 0);
  CHECK(refusal(folder.path() / "pipe") ==
        name("pipe") + ": is a device or a pipe, not a file; save it to a file first");
  write_bytes(folder.path() / "big.txt", std::string((4U << 20U) + 1U, '\n'));
  CHECK(refusal(folder.path() / "big.txt") ==
        name("big.txt") + ": is larger than 4 MiB; give the text file that came with the microphone");
  write_bytes(folder.path() / "bad.txt", "20 1\n30 --1\n40 1\n");
  CHECK(refusal(folder.path() / "bad.txt") ==
        name("bad.txt") + ":2: \"--1\" is not a level in dB; correct this line or remove it");
}

TEST_CASE("a microphone's file that one may not read is refused with the reason") {
  constexpr uid_t nobody = 65'534;
  const TemporaryFolder folder;
  const auto path = folder.path() / "secret.txt";
  write_bytes(path, tabs);
  std::filesystem::permissions(folder.path(), std::filesystem::perms::all);
  std::filesystem::permissions(path, std::filesystem::perms::none);
  const bool is_root = geteuid() == 0;  // who may read every file, and so has to step down
  if (is_root && seteuid(nobody) != 0) {
    MESSAGE("SKIPPED: root cannot step down here");
    return;
  }
  const std::string refusal = refusal_of([&] { (void)read_microphone_response(path); });
  if (is_root) REQUIRE(seteuid(0) == 0);
  CHECK(refusal == path.string() + ": no permission to read it; change its permissions or copy it");
}

TEST_CASE("four megabytes of anything are judged quickly") {
  const std::clock_t start = std::clock();  // of the processor: a busy machine does not make a reader slow
  const auto filled = [](const std::string& part) {
    std::string text;
    while (text.size() + part.size() <= (4U << 20U)) text += part;
    return text;
  };
  for (const char* part : {"\n", "1 1\n", "1,", "1 ", "\"", "1-", "a\n", "sens 1-", "#1\n", "\"a\",\n", "f, db\n"}) {
    CAPTURE(part);
    const std::string refusal = reading_of(filled(part)).refusal;
    CHECK_FALSE(refusal.empty());
    CHECK(refusal.size() < 200);
  }
  std::string rows;
  for (int i = 1; rows.size() < 4'000'000; ++i) rows += std::to_string(i) + " 1\n";
  CHECK(reading_of(rows).file);
  // 2 s on one core of a shared machine without optimising; a quadratic reader would take hours.
  CHECK(std::clock() - start < 60 * CLOCKS_PER_SEC);
}

TEST_SUITE_END();

}  // namespace ringtrue
