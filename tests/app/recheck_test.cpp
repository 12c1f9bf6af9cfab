#include <doctest/doctest.h>

#include <cmath>
#include <nlohmann/json.hpp>
#include <string>

#include "app/run_program.hpp"
#include "app/two_mains.hpp"

using namespace ringtrue::test;
using Json = nlohmann::json;

namespace {

const std::string recheck_rig = R"(layout = "custom"
)" + two_mains + R"([[speaker]]
label = "C"
output = 3
)";

std::string recheck_room(double y_of_c) {
  return R"([[speaker]]
label = "L"
position_m = [-1.0, 1.5, 0.0]
[[speaker]]
label = "R"
position_m = [1.0, 1.7, 0.1]
[[speaker]]
label = "C"
position_m = [0.1, )" +
         std::to_string(y_of_c) + ", 0.0]\n";
}

const std::string quick = " --sweep-seconds 1 --decay-seconds 0.5";

}  // namespace

// C moves from 1.3038 m to 1.4036 m from the ear point: at 344.37 m/s (22 degrees C, units.hpp) it arrives 0.2897 ms
// later.
TEST_CASE("recheck gives a moved speaker its new delay, with one reference") {
  const TemporaryFolder folder;
  write_file(folder.path() / "rig.toml", recheck_rig);
  write_file(folder.path() / "room.toml", recheck_room(1.3));
  write_file(folder.path() / "moved.toml", recheck_room(1.4));
  REQUIRE(run_program(folder.path(), "calibrate rig.toml --virtual room.toml --out d" + quick).status == 0);
  const Json before = Json::parse(content_of(folder.path() / "d/calibration.json"));

  const Outcome outcome = run_program(
      folder.path(), "recheck rig.toml --against d/calibration.json --speaker C --out e --virtual moved.toml" + quick);
  CHECK(outcome.error == "");
  CHECK(outcome.status == 0);
  CHECK(outcome.out == content_of(folder.path() / "e/recheck.txt"));
  const Json after = Json::parse(content_of(folder.path() / "e/calibration.json"));
  const double delay_ms = before["speakers"][2]["settings"]["delay_ms"];
  CHECK(std::abs(after["speakers"][2]["settings"]["delay_ms"].get<double>() - (delay_ms - 0.2897)) < 0.015);
  for (const std::size_t s : {0U, 1U}) CHECK(after["speakers"][s] == before["speakers"][s]);
  CHECK(std::filesystem::exists(folder.path() / "e/impulse-responses/C.wav"));
}

TEST_CASE("recheck without a name only looks, and says what has drifted") {
  const TemporaryFolder folder;
  write_file(folder.path() / "rig.toml", recheck_rig);
  write_file(folder.path() / "room.toml", recheck_room(1.3));
  write_file(folder.path() / "moved.toml", recheck_room(1.4));
  REQUIRE(run_program(folder.path(), "calibrate rig.toml --virtual room.toml --out d" + quick).status == 0);
  const std::string look = "recheck rig.toml --against d/calibration.json --virtual ";
  const auto files = everything_in(folder.path());
  const Outcome same = run_program(folder.path(), look + "room.toml" + quick);
  CHECK(same.status == 0);
  CHECK(same.out.find("Everything that was played is as it was.") != std::string::npos);
  const Outcome drifted = run_program(folder.path(), look + "moved.toml --json" + quick);
  CHECK(drifted.status == 1);
  CHECK(Json::parse(drifted.out)["speakers"][2]["drifted"] == true);
  CHECK(Json::parse(drifted.out)["speakers"][0]["drifted"] == false);
  CHECK(everything_in(folder.path()) == files);
}

TEST_CASE("recheck refuses a label that the rig does not have") {
  const TemporaryFolder folder;
  write_file(folder.path() / "rig.toml", recheck_rig);
  write_file(folder.path() / "room.toml", recheck_room(1.3));
  REQUIRE(run_program(folder.path(), "calibrate rig.toml --virtual room.toml --out d" + quick).status == 0);
  const Outcome outcome = run_program(
      folder.path(), "recheck rig.toml --against d/calibration.json --speaker Lss --out e --virtual room.toml" + quick);
  CHECK(outcome.status == 2);
  CHECK(outcome.error == "ringtrue: --speaker: the rig has no speaker \"Lss\"; give one of L, R, C\n");
}
