#include <doctest/doctest.h>

#include <nlohmann/json.hpp>
#include <string>

#include "app/run_program.hpp"
#include "app/two_mains.hpp"

using namespace ringtrue::test;
using Json = nlohmann::json;

namespace {

const std::string verify_rig = R"(layout = "custom"
)" + two_mains + R"([[speaker]]
label = "C"
output = 3
)";
constexpr const char* verify_room = R"([[speaker]]
label = "L"
position_m = [-1.0, 1.5, 0.0]
[[speaker]]
label = "R"
position_m = [1.0, 1.7, 0.1]
gain_db = 2
[[speaker]]
label = "C"
position_m = [0.1, 1.3, 0.0]
)";
const std::string quick_virtual = " --virtual room.toml --sweep-seconds 1 --decay-seconds 0.5";

}  // namespace

TEST_CASE("verify passes a virtual room with the settings in, and fails it with one mistyped") {
  const TemporaryFolder folder;
  write_file(folder.path() / "rig.toml", verify_rig);
  write_file(folder.path() / "room.toml", verify_room);
  REQUIRE(run_program(folder.path(), "calibrate rig.toml --out d" + quick_virtual).status == 0);

  const Outcome right =
      run_program(folder.path(), "verify rig.toml --against d/calibration.json --out v" + quick_virtual);
  CHECK(right.error == "");
  CHECK(right.status == 0);
  CHECK(right.out == content_of(folder.path() / "v/verification.txt"));
  CHECK(right.out.find("PASS: every speaker measures as the sheet says.") != std::string::npos);

  Json slip = Json::parse(content_of(folder.path() / "d/calibration.json"));
  const double wanted_db = slip["speakers"][1]["settings"]["trim_db"];
  slip["speakers"][1]["settings"]["trim_db"] = wanted_db - 1.0;
  write_file(folder.path() / "slip.json", slip.dump());
  const Outcome wrong =
      run_program(folder.path(),
                  "verify rig.toml --against d/calibration.json --settings slip.json --json --out w" + quick_virtual);
  CHECK(wrong.status == 1);
  CHECK(wrong.out == content_of(folder.path() / "w/verification.json"));
  const Json answer = Json::parse(wrong.out);
  CHECK(answer["speakers"][1]["suspicions"][0]["value"] == "trim_db");
  CHECK(answer["speakers"][0]["verdict"] == "pass");
  CHECK(answer["speakers"][2]["verdict"] == "pass");

  const Outcome none = run_program(
      folder.path(), "verify rig.toml --against d/calibration.json --settings none --out n" + quick_virtual);
  CHECK(none.status == 1);
}

TEST_CASE("verify refuses a calibration of another rig, and writes nothing") {
  const TemporaryFolder folder;
  write_file(folder.path() / "rig.toml", verify_rig);
  write_file(folder.path() / "room.toml", verify_room);
  REQUIRE(run_program(folder.path(), "calibrate rig.toml --out d" + quick_virtual).status == 0);
  std::string other = verify_rig;
  other.replace(other.find("output = 3"), 10, "output = 4");
  write_file(folder.path() / "other.toml", other);
  const Outcome outcome =
      run_program(folder.path(), "verify other.toml --against d/calibration.json --out v" + quick_virtual);
  CHECK(outcome.status == 2);
  CHECK(outcome.error ==
        "ringtrue: d/calibration.json: has C on output 3 where the rig has C on output 4; give the rig that was "
        "calibrated, or calibrate again\n");
  CHECK_FALSE(std::filesystem::exists(folder.path() / "v"));
}
