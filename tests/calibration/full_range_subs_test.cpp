#include <doctest/doctest.h>

#include <algorithm>
#include <string>
#include <vector>

#include "ringtrue/calibration/calibrate.hpp"
#include "ringtrue/capture/virtual_room.hpp"
#include "ringtrue/response/measurement.hpp"
#include "ringtrue/rig/rig_file.hpp"

using namespace ringtrue;

namespace {

/// Four mains and a sub's output in a room of 0.3 s; the sub stands at x m, and is what `model` says.
Calibration with_sub(const std::string& model, double x) {
  const Rig rig = parse_rig(R"(layout = "custom"
    [room]
    size_m = [5.6, 4.3, 2.5]
    [[speaker]]
    label = "A"
    output = 1
    band_hz = [50, 20000]
    [[speaker]]
    label = "B"
    output = 2
    band_hz = [50, 20000]
    [[speaker]]
    label = "C"
    output = 3
    band_hz = [50, 20000]
    [[speaker]]
    label = "D"
    output = 4
    band_hz = [50, 20000]
    [[speaker]]
    label = "LFE"
    output = 5
    kind = "sub"
    band_hz = [20, 250])",
                            "rig.toml");
  std::string room = "[room]\nreverberation_time_s = 0.3\n";
  room += "[[speaker]]\nlabel = \"A\"\nposition_m = [-1.0, 1.7, 0.1]\n";
  room += "[[speaker]]\nlabel = \"B\"\nposition_m = [1.1, 1.6, 0.0]\n";
  room += "[[speaker]]\nlabel = \"C\"\nposition_m = [-1.3, -1.2, 0.2]\n";
  room += "[[speaker]]\nlabel = \"D\"\nposition_m = [1.4, -1.1, 0.1]\n";
  room += "[[speaker]]\nlabel = \"LFE\"\nposition_m = [" + std::to_string(x) + ", 1.8, -0.9]\n" + model;
  const VirtualRoom scene = parse_virtual_room(room, "room.toml", rig);
  const Stimulus stimulus = plan_stimulus(rig, {});
  const std::vector<PositionMeasurement> positions{measure(rig, stimulus, capture(scene, rig, stimulus, 0))};
  return calibrate(rig, positions, {});
}

bool named(const Calibration& calibration) {
  return std::ranges::any_of(calibration.findings, [](const Finding& finding) {
    return finding.code == "full-range-sub" && finding.speaker == "LFE" && finding.severity == Severity::warn;
  });
}

}  // namespace

TEST_SUITE_BEGIN("calibration");

TEST_CASE("a main speaker on a sub's output is named, a sub is not") {
  for (const double x : {-1.4, -0.5, 0.4, 1.5}) {
    CAPTURE(x);
    CHECK(named(with_sub("model = \"two-way\"\nband_hz = [55, 21000]\n", x)));
    CHECK_FALSE(named(with_sub("model = \"sub\"\nband_hz = [25, 130]\n", x)));
  }
}

TEST_SUITE_END();
