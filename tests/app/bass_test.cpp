#include <doctest/doctest.h>

#include <nlohmann/json.hpp>
#include <string>

#include "app/run_program.hpp"
#include "app/two_mains.hpp"

using namespace ringtrue::test;
using Json = nlohmann::json;

namespace {

const std::string bass_rig = R"(layout = "2.1"
[bass_management]
crossover_hz = 90
)" + two_mains + R"([[speaker]]
label = "LFE"
output = 3
[[position]]
offset_m = [0, 0, 0]
[[position]]
offset_m = [0.3, 0.1, 0]
)";
const std::string bass_room = two_mains_placed + R"([[speaker]]
label = "LFE"
position_m = [0.4, 1.5, -0.9]
)";

}  // namespace

TEST_CASE("calibrate aligns the sub with the mains and suggests a crossover, the same on any number of threads") {
  const TemporaryFolder folder;
  write_file(folder.path() / "rig.toml", bass_rig);
  write_file(folder.path() / "room.toml", bass_room);
  const std::string command = "calibrate rig.toml --virtual room.toml --sweep-seconds 1 --suggest-crossover --json";
  const Outcome one = run_program(folder.path(), command + " --date 2026-03-01 --out one --threads 1");
  const Outcome two = run_program(folder.path(), command + " --date 2026-03-01 --out two --threads 2");
  REQUIRE(one.error == "");
  CHECK(one.status == 0);  // a suggestion is a note
  CHECK(one.out == two.out);
  const Json bass = Json::parse(one.out)["bass_management"];
  CHECK(bass["alignment"]["subs"][0]["label"] == "LFE");
  CHECK(bass["alignment"]["band_hz"] == Json::array({45.0, 180.0}));  // an octave each side of 90 Hz
  CHECK(bass["alignment"]["worst_main_change_db"] >= -0.9);           // docs/bass.md
  CHECK(bass["crossover_suggestion"]["tried"].size() == 17);          // 40, 50, ... 200 Hz
  CHECK(bass["picture"]["mains"].size() == 2);
  const std::string page = content_of(folder.path() / "one" / "report.html");
  CHECK(page.find("R with the sub, crossover 90 Hz: ") != std::string::npos);
  CHECK(page == content_of(folder.path() / "two" / "report.html"));
  CHECK(page.find("Measured 2026-03-01") != std::string::npos);
  run_program(folder.path(), "export one/calibration.json --as html --out later.html");
  CHECK(content_of(folder.path() / "later.html") == page);
  CHECK(run_program(folder.path(), "export one/calibration.json --as sheet").out ==
        content_of(folder.path() / "one" / "sheet.txt"));
  CHECK(run_program(folder.path(), "history . --by-name").out ==
        "2026-03-01  one: good\n2026-03-01  two: good\n    no setting changed\n");
  const Outcome no_date = run_program(folder.path(), command + " --date 2026-02-30 --out three");
  CHECK(no_date.status == 2);
  CHECK(no_date.error.find("--date") != std::string::npos);
}
