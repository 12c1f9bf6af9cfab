#include <doctest/doctest.h>

#include <cmath>
#include <nlohmann/json.hpp>
#include <string>

#include "app/run_program.hpp"
#include "app/two_mains.hpp"
#include "ringtrue/capture/wav_file.hpp"

using namespace ringtrue;
using namespace ringtrue::test;
using Json = nlohmann::json;

namespace {

const std::string correction_rig = R"(layout = "2.0"
[room]
size_m = [5.0, 4.0, 2.6]
[interface]
sample_rate_hz = 48000
)" + two_mains;
const std::string correction_room = two_mains_placed;

/// A folder in which the virtual room can be calibrated.
class CorrectionSession : public TemporaryFolder {
 public:
  CorrectionSession() {
    write_file(path() / "rig.toml", correction_rig);
    write_file(path() / "room.toml", correction_room);
  }
  [[nodiscard]] Outcome calibrate(const std::string& options) const {
    return run_program(path(),
                       "calibrate rig.toml --virtual room.toml --sweep-seconds 1 --decay-seconds 0.5 " + options);
  }
  [[nodiscard]] Json result(const std::string& folder) const {
    return Json::parse(content_of(path() / folder / "calibration.json"));
  }
};

}  // namespace

TEST_CASE("calibrate suggests filters inside the interface's limits, or none when asked") {
  const CorrectionSession session;
  REQUIRE(session.calibrate("--out with").status == 0);
  const Json with = session.result("with");
  for (const Json& speaker : with["speakers"]) {
    CHECK_FALSE(speaker["settings"]["equaliser"].empty());
    CHECK(speaker["settings"]["equaliser"].size() <= 8);
    CHECK(speaker["correction"]["largest_boost_db"] <= 3.0);
    CHECK(speaker["correction"]["deviation_after_db"] < speaker["correction"]["deviation_before_db"]);
    CHECK(speaker["correction"]["after_db"][0].size() == with["correction"]["third_octave_hz"].size());
  }
  REQUIRE(session.calibrate("--no-equaliser --out without").status == 0);
  const Json without = session.result("without");
  CHECK(without["correction"].is_null());
  for (const Json& speaker : without["speakers"]) CHECK(speaker["settings"]["equaliser"].empty());
}

TEST_CASE("--fir writes one mono file per output at the rig's rate, and leaves the filters empty") {
  const CorrectionSession session;
  REQUIRE(session.calibrate("--fir 1024 --out d").status == 0);
  const Json result = session.result("d");
  CHECK(result["correction"]["fir"]["taps"] == 1024);
  for (const std::string label : {"L", "R"}) {
    const Sound sound = read_sound(session.path() / "d/fir" / (label + ".wav"));
    CHECK(sound.sample_rate_hz == 48'000.0);
    REQUIRE(sound.channels.size() == 1);
    CHECK(sound.channels[0].size() == 1'024);
  }
  for (const Json& speaker : result["speakers"]) {
    CHECK(speaker["settings"]["equaliser"].empty());
    CHECK(speaker["correction"]["largest_boost_db"] <= 3.0);
  }
  // Without --fir the old files would belong to nothing: they go.
  REQUIRE(session.calibrate("--out d --overwrite").status == 0);
  CHECK_FALSE(std::filesystem::exists(session.path() / "d/fir"));
}

TEST_CASE("a target that cannot be read is refused before anything is measured") {
  const CorrectionSession session;
  for (const std::string target : {"tilt=steep", "no-such-file.csv"}) {
    CAPTURE(target);
    const Outcome outcome = session.calibrate("--target " + target + " --out d");
    CHECK(outcome.status == 2);
    CHECK(outcome.error.find(target) != std::string::npos);
    CHECK_FALSE(std::filesystem::exists(session.path() / "d"));
  }
  CHECK(session.calibrate("--fir-phase mixed --out d").status == 2);  // phase of what?
}
