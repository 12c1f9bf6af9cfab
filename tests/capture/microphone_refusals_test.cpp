#include <doctest/doctest.h>

#include "microphone_texts.hpp"

// What must not be used as a microphone's response: every such text ends in one InvalidInput line.

namespace ringtrue {
namespace {

using namespace test;
using namespace std::string_literals;

struct Refused {
  std::string text;
  std::string message;  // after "mic.txt:"
};

void check_refusals(const std::vector<Refused>& cases) {
  for (const auto& [text, message] : cases) {
    CAPTURE(text);
    CHECK(reading_of(text).refusal == "mic.txt:" + message);
  }
}

const std::string correct_it = "; correct this line or remove it";
const std::string one_mark = "; write numbers with one decimal mark and no thousands separators";
const std::string same_columns = "; write the same columns in every line, and numbers without thousands separators";
const std::string again = "; copy or download the file again";
const std::string no_table =
    " no line with a frequency and a level; give a text file with one line per frequency: Hz, then dB";

}  // namespace

TEST_SUITE_BEGIN("microphone file");

TEST_CASE("a line that is meant as numbers and is none is refused with its number") {
  check_refusals({{"20\t1\n30\t--1.5\n", "2: \"--1.5\" is not a level in dB" + correct_it},
                  {"20\t--1\n30\t1\n", "1: \"--1\" is not a level in dB" + correct_it},
                  {"20\tabc\n30\t1\n40\t1\n", "1: \"abc\" is not a level in dB" + correct_it},
                  {"20 1\n1..5 2\n", "2: \"1..5\" is not a frequency" + correct_it},
                  {"20 1\n1O0 2\n", "2: \"1O0\" is not a frequency" + correct_it},
                  {"0x10 1\n20 2\n", "1: \"0x10\" is not a frequency" + correct_it},
                  {"20 1\n30 12:30\n", "2: \"12:30\" is not a level in dB" + correct_it},
                  {"20 1\n30 1e400\n", "2: \"1e400\" is not a level in dB" + correct_it},
                  {"20 1 5\n30 1 --5\n", "2: \"--5\" is not a phase in degrees" + correct_it},
                  {"20 1\n30 -1.#IND\n", "2: \"-1.#IND\" is not a level in dB" + correct_it}});
}

TEST_CASE("missing values are refused with their line") {
  for (const char* mark : {"n/a", "NaN", "-inf", "inf", "-", "---", "?", "null", "N.A."}) {
    CAPTURE(mark);
    const std::string quoted = '"' + std::string{mark} + '"';
    CHECK(reading_of("20\t1\n30\t"s + mark + "\n40\t1\n").refusal ==
          "mic.txt:2: no level in dB for 30 Hz, but " + quoted + correct_it);
    CHECK(reading_of("30\t"s + mark + "\n40\t1\n50\t1\n").refusal ==
          "mic.txt:1: no level in dB for 30 Hz, but " + quoted + correct_it);
  }
  check_refusals({{"20\t1\n30\t\n40\t1\n", "2: no level in dB for 30 Hz" + correct_it},
                  {"20\n30 1\n40 1\n", "1: no level in dB for 20 Hz" + correct_it},
                  {"20,1\n30,\n40,1\n", "2: no level in dB for 30 Hz" + correct_it},
                  {"20;1\n;2,5\n40;1,5\n", "2: a level without a frequency" + correct_it},
                  {"20,1\n,2\n40,1\n", "2: a level without a frequency" + correct_it},
                  {"20 1\nNaN 2\n", "2: a level without a frequency" + correct_it},
                  {"inf 2\n20 1\n30 1\n", "1: a level without a frequency" + correct_it},
                  {"\"20\",\"1\"\n\"\",\"2\"\n\"40\",\"1\"\n", "2: a level without a frequency" + correct_it},
                  {"20 1 5\n30 1\n", "2: no third number, where line 1 has one" + same_columns},
                  {"20 1 5\n30 1 n/a\n", "2: no third number, where line 1 has one" + same_columns}});
}

TEST_CASE("frequencies that are none are refused") {
  check_refusals({{"-20 1\n30 1\n", "1: -20 Hz is not a frequency above zero" + correct_it},
                  {"# dc\n0 1\n30 1\n", "2: 0 Hz is not a frequency above zero" + correct_it},
                  {"20 1\n2e6 1\n", "2: 2000000 Hz is no frequency of sound" + correct_it},
                  {"-1.5 dB\t20 Hz\n",
                   "1: \"dB\" is no unit of frequency; write the frequency in Hz first, then the level "
                   "in dB"}});
}

TEST_CASE("levels beyond 40 dB and phases beyond 100 turns are refused") {
  const std::string remedy = "; give the response relative to 1 kHz, frequency first, level in dB second";
  check_refusals({{"20 1\n30 40.1\n", "2: 40.1 dB at 30 Hz is beyond +-40 dB" + remedy},
                  {"20 -40.5\n30 1\n", "1: -40.5 dB at 20 Hz is beyond +-40 dB" + remedy},
                  {"1\t20\n1.5\t1000\n", "2: 1000 dB at 1.5 Hz is beyond +-40 dB" + remedy},  // columns exchanged
                  {"20 1 0\n300 1 36001\n", "2: 36001 degrees at 300 Hz is beyond 100 turns" + correct_it}});
  CHECK(reading_of("20 -40\n300 40\n").refusal == "");
  CHECK(reading_of("20 -40 36000\n300 40 -36000\n").refusal == "");
}

TEST_CASE("frequencies in kHz are refused, whether the heading says so or not") {
  check_refusals(
      {{"Frequency (kHz),dB\n0.02,1\n1,0\n20,1\n", "1: the frequencies are in kHz; write the frequencies in Hz"},
       {"0.02 1\n1 0\n20 1\n",
        "3: the highest frequency is 20 Hz, so they seem to be in kHz; write the frequencies in Hz"},
       {"20 1\n50 1\n100 1\n500 1\n800 1\n1 0\n1.6 0\n2.1 0\n",
        "6: the frequencies begin again at 1 Hz after 800 Hz; give a file with one curve, all frequencies in "
        "Hz"}});
}

TEST_CASE("columns in other units are refused") {
  check_refusals(
      {{"Frequency (Hz),Gain (linear)\n20,1.1\n20000,0.9\n", "1: the levels are in \"linear\"; write them in dB"},
       {"Hz\tmV/Pa\n20\t11\n20000\t9\n", "1: the levels are in \"mv/pa\"; write them in dB"},
       {"20 Hz 99 %\n20000 Hz 98 %\n", "1: a level in \"%\"; write levels in dB"},
       {"Hz,dB,Phase (rad)\n20,1,0.1\n20000,1,0.2\n", "1: the phases are in radians; write them in degrees"},
       {"f (rad/s);dB\n120;1\n120000;1\n", "1: the frequencies are in rad/s; write them in Hz"}});
}

TEST_CASE("thousands separators and two decimal marks are refused") {
  const std::string separator =
      " has a thousands separator or two decimal marks; write every number with one decimal "
      "mark and nothing else between its digits";
  check_refusals({{"\"800.0\",-0.5\n\"1,018.7\",-0.1\n", "2: \"1,018.7\"" + separator},
                  {"800.0\t-0.5\n1'018.7\t-0.1\n", "2: \"1'018.7\"" + separator},
                  {"800;-0,5\n1.018,7;-0,1\n", "2: \"1.018,7\"" + separator},
                  {"800;-0,5\n1.018;-0,1\n", "2: the numbers of this line have different decimal marks" + one_mark},
                  {"31,5;1\n1.018;2\n", "2: \"1.018\" has another decimal mark than \"31,5\" in line 1" + one_mark},
                  {"800,5\t-0,5\n1 018,7\t-0,1\n", "2: a third number, where line 1 has none" + same_columns},
                  {"800.5,-0.5\n1,018.7,-0.1\n", "2: a third number, where line 1 has none" + same_columns},
                  {"20;0\n800;1\n1.000;0\n2.000;0\n20.000;1\n",
                   "3: \"1.000\" seems to have a thousands separator; write 1000 without it"},
                  {"20,-1,1\n25,-0,3\n100,0,5\n",
                   "1: commas seem to separate both columns and decimals; separate the columns by "
                   "semicolons or tabs"},
                  {"20.000 0\n2.000 0\n1.000 0\n800 1\n200 1\n20 0\n",
                   "1: \"20.000\" seems to have a thousands separator; write 20000 without it"},
                  {"16,0,0\n28,6,-0\n1000,0,-2\n",  // not 28 Hz, 6 dB
                   "1: commas seem to separate both columns and decimals; separate the columns by semicolons or tabs"},
                  {"15,9;1\n1.018,7;0\n1.250,5;2\n", "2: \"1.018,7\"" + separator},  // not 15 Hz, 9 dB, 1 degree
                  {"15,9;-0,5\n703,7;-0,2\n1.874,6;1,5\n", "3: \"1.874,6\"" + separator},
                  {"20;-1,1\n160;0,4\n1.000;0,0\n1.250;-0,1\n",  // not 1 Hz, -0 dB, 1 degree
                   "3: the numbers of this line have different decimal marks" + one_mark},
                  {"30,614,0,2109\n40,5,0,3\n", "1: \"30,614,0,2109\"" + separator}});
}

TEST_CASE("a frequency that occurs twice is refused, with both lines") {
  check_refusals({{"20 1\n30 1\n30 1\n400 1\n", "3: 30 Hz is in line 2 already; keep one of the two lines"},
                  {"20 1\n30 1\n# x\n30 4\n400 1\n", "4: 30 Hz is in line 2 already; keep one of the two lines"}});
}

TEST_CASE("two curves in one file are refused") {
  const std::string one = "20 1\n200 1\n2000 1\n20000 1\n";
  const std::string other = "21 1\n210 1\n2100 1\n21000 1\n";
  const std::string remedy = "; give a file with one curve, and put # before remarks";
  check_refusals({{one + other,
                   "5: the frequencies begin again at 21 Hz after 20000 Hz; give a file with one curve, all "
                   "frequencies in Hz"},
                  {one + "Frequency Level\n" + other, "5: text among the numbers (\"Frequency Level\")" + remedy},
                  {"20 1\nabc\t2\n200 1\n", "2: text among the numbers (\"abc 2\")" + remedy},
                  {"20,1\n\"abc\",2\n200,1\n", "2: text among the numbers (\"\"abc\",2\")" + remedy}});
  CHECK(has(reading_of("20000 1\n2000 1\n20 1\n21000 2\n2100 2\n21 2\n").refusal,
            "mic.txt:4: the frequencies begin again"));
}

TEST_CASE("columns that come and go, or are too many, are refused") {
  check_refusals({{"20 1\n30 1 5\n", "2: a third number, where line 1 has none" + same_columns},
                  {"20 1 2 3\n30 1 2 3\n",
                   "1: more than three columns; keep frequency in Hz, level in dB and, where "
                   "known, phase in degrees"}});
}

TEST_CASE("a text without a table is refused") {
  check_refusals({{"", " is empty" + again},
                  {" \n\t\r\n", " is empty" + again},
                  {"\xEF\xBB\xBF", " is empty" + again},
                  {"# freq dB\nFrequency,dB\n", no_table},
                  {"Dear customer,\nthe microphone is fine.\n", no_table},
                  {"[\n[20, 1],\n[30, 1]\n]\n", no_table},
                  {"# one\n1000\t0.0\n",
                   "2: only one point, at 1000 Hz; give a text file with one line per frequency: Hz, "
                   "then dB"},
                  {"-1.5\n-2\n", "1: no level in dB for -1.5 Hz" + correct_it}});
}

TEST_CASE("what is no text is refused for what it is") {
  const std::string page = "1: this is a web page or XML, not a table of numbers; download the text file itself";
  const std::string export_it = "; give the text file that came with the microphone, or export it as CSV";
  check_refusals({{"<!DOCTYPE html>\n<p>Error 404 at 10:05</p>\n20 1\n30 1\n", page},
                  {"<?xml version=\"1.0\"?>\n20 1\n30 1\n", page},
                  {"PK\x03\x04 20 1\n30 1\n", " this is a spreadsheet or an archive, not text" + export_it},
                  {"%PDF-1.4\n20 1\n30 1\n", " this is a PDF, not text" + export_it},
                  {"{\\rtf1\n20 1\n30 1\n", " this is a word processor's document, not text" + export_it},
                  {"20 1\n30 1\n"s + std::string(512, '\0'), "3: byte 0x00, which is no text" + again},
                  {std::string(512, '\0'), "1: byte 0x00, which is no text" + again},
                  {"20 1\r30 \x01"
                   "1\r",
                   "2: byte 0x01, which is no text" + again},
                  {"20 1\n\x1A\n30 1\n", "2: byte 0x1a, which is no text" + again},
                  {"\xFF\xFE" + utf16("20 1\n30 1\n", false) + "\0\0"s, "3: byte 0x00, which is no text" + again},
                  {"\xFF\xFE" + utf16("20 1\n30 1\n", false) + "1",
                   " is UTF-16 text cut off in the middle of a character" + again}});
}

TEST_CASE("every beginning of a good file, and every byte of it spoilt, is read or refused in one line") {
  const std::string good = "\"Sens =-1.5dB\"\nHz\tdB\tdeg\n20.5\t-1.5\t3\n2e2\t0\t-4 # x\n20000\t,5\t0\n";
  const auto check = [](const std::string& text) {
    const Reading reading = reading_of(text);
    CHECK(reading.refusal.find('\n') == std::string::npos);
    CHECK(reading.file.has_value() == reading.refusal.empty());
    CHECK((reading.refusal.empty() || reading.refusal.starts_with("mic.txt:")));
  };
  for (std::size_t i = 0; i < good.size(); ++i) {
    check(good.substr(0, i));
    for (const char c : "\0\x1A\xC3\xFF\"';#,.|*<\t\r\n 9-e"s) {
      std::string spoilt = good;
      spoilt[i] = c;
      check(spoilt);
    }
  }
}

TEST_CASE("long text in a refusal is cut, so that it stays one readable line") {
  for (const std::string& text :
       {"20 1\n1" + std::string(100'000, 'k') + " 1\n", "20 1\n" + std::string(100'000, '9') + " 1\n",
        "20 1\nabc\t" + std::string(100'000, 'k') + "\n30 1\n", "20 1\n30 1 5" + std::string(9'999, '-') + "\n"}) {
    const std::string refusal = reading_of(text).refusal;
    CHECK(refusal.starts_with("mic.txt:2: "));
    CHECK(refusal.size() < 200);
    CHECK(refusal.find('\n') == std::string::npos);
  }
  // Cut between characters, not inside one.
  CHECK(has(reading_of("20 1\n1" + std::string(28, 'k') + "\u00E9\u00E9 1\n").refusal, std::string(28, 'k') + "...\""));
}

TEST_SUITE_END();

}  // namespace ringtrue
