#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>
#include <string>

#include "app/run_program.hpp"
#include "app/two_mains.hpp"

using namespace ringtrue::test;
using Json = nlohmann::json;

namespace {

const std::string mic_response_rig = R"(layout = "2.0"
)" + two_mains;
const std::string mic_response_room = two_mains_placed + R"(gain_db = -1.0
)";
const std::string calibrate = "calibrate rig.toml --virtual room.toml --sweep-seconds 1 --decay-seconds 0.5 --json";

class Folder : public TemporaryFolder {
 public:
  Folder() {
    write_file(path() / "rig.toml", mic_response_rig);
    write_file(path() / "room.toml", mic_response_room);
  }
};

std::vector<std::string> messages(const Json& calibration) {
  std::vector<std::string> found;
  for (const Json& finding : calibration["findings"]) {
    if (finding["code"] != "mic-response") continue;
    CHECK(finding["severity"] == "note");
    found.push_back(finding["message"]);
  }
  return found;
}

}  // namespace

TEST_CASE("a microphone that is 3 dB loud everywhere lowers all levels by 3 dB and changes no setting") {
  const Folder folder;
  write_file(folder.path() / "mic.txt", "* loud\r\n20 3,0\r\n1000 3,0\r\n20000 3,0\r\n");
  const Outcome flat = run_program(folder.path(), calibrate + " --out flat");
  const Outcome loud = run_program(folder.path(), calibrate + " --out loud --mic-response mic.txt");
  CHECK(flat.status == 0);
  CHECK(loud.status == 0);  // notes alone need nobody's eyes
  CHECK(loud.error.empty());
  const Json without = Json::parse(flat.out);
  const Json with = Json::parse(loud.out);
  for (std::size_t s : {0U, 1U}) {
    CHECK(with["speakers"][s]["settings"] == without["speakers"][s]["settings"]);
    const double before_db = without["speakers"][s]["measured"]["positions"][0]["level_db"];
    const double after_db = with["speakers"][s]["measured"]["positions"][0]["level_db"];
    CHECK(std::abs(after_db - before_db + 3.0) < 0.0011);  // both are written to 0.001 dB
  }
  CHECK(messages(without).empty());
  CHECK(
      messages(with) ==
      std::vector<std::string>{
          "The microphone's response (3 points, 20 Hz to 20000 Hz, without phase) was taken out of every response and "
          "level.",
          "The microphone's response has no point between 20 Hz and 1000 Hz: a straight line is drawn there."});
  CHECK(content_of(folder.path() / "loud" / "sheet.txt").find("[mic-response]") != std::string::npos);
}

TEST_CASE("a microphone's file that cannot be read is refused with file and line, and nothing is written") {
  const Folder folder;
  write_file(folder.path() / "mic.txt", "20\t1\n30\t--1\n40\t1\n");
  const auto before = everything_in(folder.path());
  for (const auto& [file, error] :
       {std::pair<std::string, std::string>{
            "mic.txt", "ringtrue: mic.txt:2: \"--1\" is not a level in dB; correct this line or remove it\n"},
        {"none.txt", "ringtrue: none.txt: there is no such file; check the name and the folder\n"},
        {".", "ringtrue: .: is a folder; give the name of a file in it\n"},
        {"''", "ringtrue: : there is no such file; check the name and the folder\n"}}) {
    CAPTURE(file);
    const Outcome outcome = run_program(folder.path(), calibrate + " --out d --mic-response " + file);
    CHECK(outcome.status == 2);
    CHECK(outcome.out.empty());
    CHECK(outcome.error == error);
    CHECK(everything_in(folder.path()) == before);
  }
}
