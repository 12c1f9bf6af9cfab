#include <doctest/doctest.h>

#include <algorithm>
#include <sstream>
#include <string>
#include <vector>

#include "app/run_program.hpp"
#include "app/two_mains.hpp"

using namespace ringtrue::test;

namespace {

const std::string small_rig = R"(layout = "2.0"
)" + two_mains;

struct BadUsage {
  std::string arguments;
  std::string error;  // the whole line
};

/// Every one must end with status 2, this one line on stderr, nothing on stdout and nothing written.
void check_refusals(const std::vector<BadUsage>& cases) {
  const TemporaryFolder folder;
  write_file(folder.path() / "rig.toml", small_rig);
  const auto before = everything_in(folder.path());
  for (const auto& [arguments, error] : cases) {
    CAPTURE(arguments);
    const Outcome outcome = run_program(folder.path(), arguments);
    CHECK(outcome.status == 2);
    CHECK(outcome.error == error + '\n');
    CHECK(outcome.out.empty());
    CHECK(everything_in(folder.path()) == before);
  }
}

const std::string see_calibrate = "; see 'ringtrue calibrate --help'";

}  // namespace

TEST_CASE("a command line that is no command is refused with one line") {
  check_refusals(
      {{"", "ringtrue: no command was given; see 'ringtrue --help'"},
       {"tune", "ringtrue: The following argument was not expected: tune; see 'ringtrue --help'"},
       {"--frobnicate", "ringtrue: The following argument was not expected: --frobnicate; see 'ringtrue --help'"}});
}

TEST_CASE("a stimulus command that is not whole or not safe is refused") {
  const std::string see = "; see 'ringtrue stimulus --help'";
  check_refusals({{"stimulus", "ringtrue stimulus: rig is required" + see},
                  {"stimulus rig.toml", "ringtrue stimulus: --out is required" + see},
                  {"stimulus rig.toml --out s.wav extra",
                   "ringtrue stimulus: The following argument was not expected: extra" + see},
                  {"stimulus rig.toml --out s.wav --level-dbfs quiet",
                   "ringtrue stimulus: Could not convert: --level-dbfs = quiet" + see},
                  {"stimulus rig.toml --out ./rig.toml",
                   "ringtrue: ./rig.toml: the stimulus would replace the rig; give another name with --out"}});
}

TEST_CASE("a peak level above -6 dBFS is refused unless it is asked for, and one that is no level always") {
  const TemporaryFolder folder;
  write_file(folder.path() / "rig.toml", small_rig);
  for (const std::string level : {"-5.9", "nan", "inf", "3 --loud", "-1e9"}) {
    CAPTURE(level);
    const Outcome outcome = run_program(folder.path(), "stimulus rig.toml --out s.wav --level-dbfs " + level);
    CHECK(outcome.status == 2);
    CHECK(std::ranges::count(outcome.error, '\n') == 1);
    CHECK(everything_in(folder.path()) == std::set<std::string>{"rig.toml"});
  }
  CHECK(run_program(folder.path(), "stimulus rig.toml --out s.wav --level-dbfs -5.9 --loud").status == 0);
}

TEST_CASE("calibrate takes exactly one whole source") {
  check_refusals(
      {{"calibrate rig.toml --out d",
        "ringtrue calibrate: no source: give --stimulus with --recording, --device NAME, or --virtual ROOM.toml" +
            see_calibrate},
       {"calibrate rig.toml --out d --virtual r.toml --stimulus s.wav --recording p.wav",
        "ringtrue calibrate: --virtual and --recording are two sources: give one of them" + see_calibrate},
       {"calibrate rig.toml --out d --recording p.wav",
        "ringtrue calibrate: --recording needs --stimulus, the file that was played" + see_calibrate},
       {"calibrate rig.toml --out d --stimulus s.wav",
        "ringtrue calibrate: --stimulus needs --recording, what the microphone heard" + see_calibrate},
       {"calibrate rig.toml --out d --stimulus s.wav --recording p.wav --level-dbfs -20",
        "ringtrue calibrate: --level-dbfs, --loud, --sweep-seconds, --decay, --interleave and --harmonics are for "
        "--device and --virtual: a stimulus file has its own" +
            see_calibrate},
       {"calibrate rig.toml --out d --virtual r.toml --loopback-channel 2",
        "ringtrue calibrate: --input-channel and --loopback-channel are for --recording and --device: a virtual "
        "room has its own" +
            see_calibrate},
       {"calibrate rig.toml --out d --stimulus s.wav --recording p.wav --loopback-channel 1",
        "ringtrue calibrate: --loopback-channel and --input-channel are the same channel" + see_calibrate},
       {"calibrate rig.toml --out d --stimulus s.wav --recording p.wav --loopback-channel 0",
        "ringtrue calibrate: --loopback-channel: Value 0 not in range 1 to 1024" + see_calibrate},
       {"calibrate rig.toml --out d --virtual r.toml --threads -1",
        "ringtrue calibrate: --threads: Value -1 not in range 0 to 1024" + see_calibrate}});
}

TEST_CASE("more recordings than the rig has positions are refused, naming both numbers") {
  const TemporaryFolder folder;
  write_file(folder.path() / "rig.toml", small_rig);
  const Outcome outcome =
      run_program(folder.path(), "calibrate rig.toml --out d --stimulus s.wav --recording a.wav --recording b.wav");
  CHECK(outcome.status == 2);
  CHECK(outcome.error ==
        "ringtrue: --recording: 2 recordings were given, but the rig has 1 mic position; add a [[position]] table per "
        "recording to the rig, or give fewer recordings\n");
}

TEST_CASE("a crossover is suggested only for a rig with bass management") {
  check_refusals({{"calibrate rig.toml --out d --stimulus s.wav --recording a.wav --suggest-crossover",
                   "ringtrue: --suggest-crossover: the rig has no [bass_management]; add that table to rig.toml if the "
                   "interface can send the mains' lows to the sub"}});
}

TEST_CASE("crossovers to try have bounds, and need the option that tries them") {
  const std::string calibrate = "calibrate rig.toml --out d --stimulus s.wav --recording a.wav ";
  check_refusals(
      {{calibrate + "--suggest-crossover --crossovers 60,800",
        "ringtrue: --crossovers: 800 is outside 20 to 500 Hz; give the frequencies the interface offers, for "
        "example 60,80,100,120"},
       {calibrate + "--crossovers 60,80",
        "ringtrue: --crossovers: is only for --suggest-crossover; add that, or leave --crossovers out"}});
}

TEST_CASE("files that are not there are refused with one line that names them") {
  const TemporaryFolder folder;
  write_file(folder.path() / "rig.toml", small_rig);
  const auto before = everything_in(folder.path());
  const std::vector<std::pair<std::string, std::string>> cases{
      {"stimulus none.toml --out s.wav", "none.toml"},
      {"stimulus rig.toml --out none/s.wav", "none/s.wav"},
      {"calibrate rig.toml --out d --stimulus none.wav --recording none2.wav", "none.wav"},
      {"calibrate rig.toml --out d --virtual none.toml", "none.toml"},
      {"calibrate rig.toml --out rig.toml --virtual none.toml", "rig.toml"},
      {"simulate rig.toml --out d --virtual none.toml --stimulus none.wav", "none.toml"},
      {"export none.json --as sheet", "none.json"},
      {"export . --as sheet", "."}};
  for (const auto& [arguments, file] : cases) {
    CAPTURE(arguments);
    const Outcome outcome = run_program(folder.path(), arguments);
    CHECK(outcome.status == 2);
    CHECK(outcome.error.find(file) != std::string::npos);
    CHECK(std::ranges::count(outcome.error, '\n') == 1);
    CHECK(outcome.error.find("unforeseen") == std::string::npos);
    CHECK(outcome.out.empty());
    CHECK(everything_in(folder.path()) == before);
  }
}

TEST_CASE("what cannot be printed is an error, not a success") {
  const TemporaryFolder folder;
  write_file(folder.path() / "rig.toml", small_rig);
  const Outcome outcome = run_program(folder.path(), "stimulus rig.toml --out s.wav >/dev/full 2>error; echo $?");
  CHECK(outcome.out == "2\n");
}

TEST_CASE("help fits 80 columns, has an example and goes to standard output") {
  const TemporaryFolder folder;
  for (const std::string command : {"", "stimulus", "calibrate", "export", "simulate"}) {
    CAPTURE(command);
    const Outcome outcome = run_program(folder.path(), command + " --help");
    CHECK(outcome.status == 0);
    CHECK(outcome.error.empty());
    CHECK(outcome.out.find("  ringtrue " + command) != std::string::npos);  // the example
    std::istringstream lines{outcome.out};
    for (std::string line; std::getline(lines, line);) {
      CAPTURE(line);
      CHECK(line.size() <= 80);
    }
  }
}

TEST_CASE("help for the stimulus warns before anything is played") {
  const TemporaryFolder folder;
  const std::string help = run_program(folder.path(), "stimulus --help").out;
  CHECK(help.find("turn the monitors right down") != std::string::npos);
  CHECK(help.find("tweeters") != std::string::npos);
}

TEST_CASE("the version is that of the project") {
  const TemporaryFolder folder;
  const Outcome outcome = run_program(folder.path(), "--version");
  CHECK(outcome.status == 0);
  CHECK(outcome.out == "ringtrue " RINGTRUE_VERSION "\n");
}
