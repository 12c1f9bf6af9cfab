#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>
#include <string>

#include "app/run_program.hpp"
#include "app/two_mains.hpp"

using namespace ringtrue::test;
namespace fs = std::filesystem;
using Json = nlohmann::json;

namespace {

// L stands 1.9723 m and R 2.0591 m from the ear point: with c = 344.37 m/s at 22 degrees C (units.hpp), R comes
// 0.2520 ms later, and L needs that much delay.
const std::string calibrate_rig = R"(layout = "2.0"
)" + two_mains + R"([[position]]
offset_m = [0, 0, 0]
[[position]]
offset_m = [0.2, 0, 0]
)";
const std::string calibrate_room = two_mains_placed;
const std::string quick = " --sweep-seconds 1 --decay-seconds 0.5";
const std::string from_files =
    "calibrate rig.toml --stimulus s.wav --recording takes/position1.wav --recording takes/position2.wav "
    "--loopback-channel 2";

/// A folder with rig, room, stimulus and the recordings of both positions.
class CalibrateSession : public TemporaryFolder {
 public:
  CalibrateSession() {
    write_file(path() / "rig.toml", calibrate_rig);
    write_file(path() / "room.toml", calibrate_room);
    must("stimulus rig.toml --out s.wav" + quick);
    must("simulate rig.toml --virtual room.toml --stimulus s.wav --out takes");
  }
  void must(const std::string& arguments) const {
    CAPTURE(arguments);
    const Outcome outcome = run_program(path(), arguments);
    CHECK(outcome.error == "");
    REQUIRE(outcome.status == 0);
  }
  [[nodiscard]] std::string content(const std::string& name) const { return content_of(path() / name); }
};

}  // namespace

TEST_CASE("the main job goes from recordings to delays that geometry confirms") {
  const CalibrateSession session;
  const Outcome outcome = run_program(session.path(), from_files + " --out d");
  CHECK(outcome.status == 0);
  CHECK(outcome.error.empty());
  CHECK(everything_in(session.path() / "d") ==
        std::set<std::string>{"calibration.json", "sheet.txt", "places.html", "report.html", "room.txt",
                              "impulse-responses", "impulse-responses/L.wav", "impulse-responses/R.wav",
                              "impulse-responses/index.json"});
  const Json speakers = Json::parse(session.content("d/calibration.json"))["speakers"];
  CHECK(speakers[0]["settings"]["delay_ms"] == 0.25);  // 0.2520 to the interface's step of 0.01
  CHECK(speakers[1]["settings"]["delay_ms"] == 0.0);
  CHECK(speakers[0]["measured"]["positions"].size() == 2);
  CHECK(outcome.out == session.content("d/sheet.txt"));
}

TEST_CASE("one distance by tape gives all distances without a loopback") {
  const CalibrateSession session;
  const std::string one = "calibrate rig.toml --stimulus s.wav --recording takes/position1.wav";
  CHECK(run_program(session.path(), one + " --known-distance L=1.9723 --out d").status == 0);
  const Json speakers = Json::parse(session.content("d/calibration.json"))["speakers"];
  // By Pythagoras from the room above; 1 cm is 29 us.
  CHECK(std::abs(speakers[0]["measured"]["positions"][0]["distance_m"].get<double>() - 1.9723) < 0.0002);
  CHECK(std::abs(speakers[1]["measured"]["positions"][0]["distance_m"].get<double>() - 2.0591) < 0.005);
  CHECK(session.content("d/sheet.txt").find("   2  R           2.06 ") != std::string::npos);
  for (const char* wrong : {"X=2", "L=", "L=two", "=2", "L=-1", "L=2m", "L"}) {
    CAPTURE(wrong);
    const Outcome refused = run_program(session.path(), one + " --out e --known-distance " + wrong);
    CHECK(refused.status == 2);
    CHECK(refused.error.find("--known-distance") != std::string::npos);
    CHECK(!fs::exists(session.path() / "e"));
  }
}

TEST_CASE("--json prints the calibration that was saved, and nothing else") {
  const CalibrateSession session;
  const Outcome outcome = run_program(session.path(), from_files + " --out d --json");
  CHECK(outcome.status == 0);
  CHECK(outcome.out == session.content("d/calibration.json"));
}

TEST_CASE("the same files give the same bytes on any number of threads") {
  const CalibrateSession session;
  session.must(from_files + " --out one --threads 1");
  session.must(from_files + " --out two --threads 2");
  for (const std::string name : {"calibration.json", "sheet.txt", "room.txt", "impulse-responses/index.json",
                                 "impulse-responses/L.wav", "impulse-responses/R.wav"}) {
    CAPTURE(name);
    CHECK(session.content("one/" + name) == session.content("two/" + name));
  }
}

TEST_CASE("the virtual room gives what its recordings give") {
  const CalibrateSession session;
  session.must(from_files + " --out files");
  session.must("calibrate rig.toml --virtual room.toml --out virtual" + quick);
  const Json files = Json::parse(session.content("files/calibration.json"));
  const Json direct = Json::parse(session.content("virtual/calibration.json"));
  CHECK(files["time_reference"] == direct["time_reference"]);
  for (std::size_t i : {0U, 1U}) {
    // Filters are another matter: among filters that do the same, the last bits of a file may choose others.
    for (const char* key : {"delay_ms", "trim_db", "invert"}) {
      CHECK(files["speakers"][i]["settings"][key] == direct["speakers"][i]["settings"][key]);
    }
    // The stimulus file holds floats, from which the sweep is read back: a nanosecond or two may be lost.
    const double here_ms = files["speakers"][i]["measured"]["positions"][1]["arrival_ms"];
    const double there_ms = direct["speakers"][i]["measured"]["positions"][1]["arrival_ms"];
    CHECK(std::abs(here_ms - there_ms) < 1e-4);
  }
}

TEST_CASE("fewer recordings than positions are the first positions") {
  const CalibrateSession session;
  session.must("calibrate rig.toml --stimulus s.wav --recording takes/position1.wav --out d");
  const Json calibration = Json::parse(session.content("d/calibration.json"));
  CHECK(calibration["speakers"][0]["measured"]["positions"].size() == 1);
  CHECK(calibration["time_reference"] == "earliest arrival");  // no --loopback-channel was given
}

TEST_CASE("a calibration is replaced only when that is asked for") {
  const CalibrateSession session;
  session.must(from_files + " --out d");
  const auto before = everything_in(session.path());
  const Outcome refused = run_program(session.path(), from_files + " --out d");
  CHECK(refused.status == 2);
  CHECK(refused.error ==
        "ringtrue: d/calibration.json: exists already; give another folder with --out, or --overwrite to replace it\n");
  CHECK(refused.out.empty());
  CHECK(everything_in(session.path()) == before);
  session.must(from_files + " --out d --overwrite");
  CHECK(everything_in(session.path()) == before);
}

TEST_CASE("recordings are replaced only when that is asked for") {
  const CalibrateSession session;
  const std::string again = "simulate rig.toml --virtual room.toml --stimulus s.wav --out takes";
  CHECK(run_program(session.path(), again).status == 2);
  session.must(again + " --overwrite");
}

TEST_CASE("a silent speaker ends with status 1, and the other keeps its settings") {
  const CalibrateSession session;
  std::string broken = calibrate_room;
  broken += "model = \"silent\"\n";  // the last speaker, R
  write_file(session.path() / "room.toml", broken);
  const Outcome outcome = run_program(session.path(), "calibrate rig.toml --virtual room.toml --out d --json" + quick);
  CHECK(outcome.status == 1);
  CHECK(outcome.error.empty());
  const Json calibration = Json::parse(outcome.out);
  CHECK(calibration["speakers"][1]["status"] == "silent");
  CHECK(calibration["speakers"][1]["settings"]["delay_ms"].is_null());
  CHECK(calibration["speakers"][0]["settings"]["delay_ms"].is_number());
  CHECK(calibration["findings"][0]["code"] == "silent-output");
  // What was saved says the same when it is shown again.
  const Outcome shown = run_program(session.path(), "export d/calibration.json --as sheet");
  CHECK(shown.status == 1);
  CHECK(shown.out == session.content("d/sheet.txt"));
}

TEST_CASE("export gives back what calibrate saved") {
  const CalibrateSession session;
  session.must(from_files + " --out d");
  session.must("export d/calibration.json --as sheet --out sheet.txt");
  CHECK(session.content("sheet.txt") == session.content("d/sheet.txt"));
  session.must("export d/calibration.json --as json --out again.json");
  CHECK(session.content("again.json") == session.content("d/calibration.json"));
}

TEST_CASE("export refuses to replace the calibration it reads, and a file that is none") {
  const CalibrateSession session;
  session.must(from_files + " --out d");
  const std::string saved = session.content("d/calibration.json");
  const Outcome itself =
      run_program(session.path(), "export d/calibration.json --as sheet --out d/../d/calibration.json");
  CHECK(itself.status == 2);
  CHECK(itself.error ==
        "ringtrue: d/../d/calibration.json: the export would replace the calibration; give another name with --out\n");
  CHECK(session.content("d/calibration.json") == saved);
  const Outcome none = run_program(session.path(), "export rig.toml --as sheet --out new.txt");
  CHECK(none.status == 2);
  CHECK(none.error ==
        "ringtrue: rig.toml:1: this is not JSON, or it is cut off; use a calibration.json that this program wrote\n");
  CHECK_FALSE(fs::exists(session.path() / "new.txt"));
}

TEST_CASE("what is no sound or no stimulus is refused, and nothing is written") {
  const CalibrateSession session;
  write_file(session.path() / "text.wav", "not a sound");
  const auto before = everything_in(session.path());
  for (const std::string files : {"--stimulus s.wav --recording text.wav", "--stimulus text.wav --recording s.wav",
                                  "--stimulus takes/position1.wav --recording s.wav"}) {
    CAPTURE(files);
    const Outcome outcome = run_program(session.path(), "calibrate rig.toml --out d " + files);
    CHECK(outcome.status == 2);
    CHECK(outcome.out.empty());
    CHECK(std::ranges::count(outcome.error, '\n') == 1);
    CHECK(everything_in(session.path()) == before);
  }
}

TEST_CASE("--json of a stimulus says where each sweep is") {
  const TemporaryFolder folder;
  write_file(folder.path() / "rig.toml", calibrate_rig);
  const Outcome outcome = run_program(folder.path(), "stimulus rig.toml --out s.wav --json" + quick);
  CHECK(outcome.status == 0);
  const Json stimulus = Json::parse(outcome.out);
  CHECK(stimulus["stimulus"] == "s.wav");
  CHECK(stimulus["channels"] == 2);
  CHECK(stimulus["peak_level_dbfs"] == -18.0);
  CHECK(stimulus["duration_s"].get<double>() == stimulus["frames"].get<double>() / 48'000.0);
  REQUIRE(stimulus["sweeps"].size() == 4);  // each speaker twice, in mirrored order
  CHECK(stimulus["sweeps"][0]["label"] == "L");
  CHECK(stimulus["sweeps"][3]["label"] == "L");
  CHECK(stimulus["sweeps"][0]["first_frame"] == 24'000);  // half a second of silence first
}
