#include <doctest/doctest.h>

#include <algorithm>
#include <array>
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
  std::string rig_text = "layout = \"custom\"\n[room]\nsize_m = [5.6, 4.3, 2.5]\n";
  std::string room = "[room]\nreverberation_time_s = 0.3\n";
  const std::array<std::string, 4> places{"[-1.0, 1.7, 0.1]", "[1.1, 1.6, 0.0]", "[-1.3, -1.2, 0.2]",
                                          "[1.4, -1.1, 0.1]"};
  for (std::size_t i = 0; i < places.size(); ++i) {
    const std::string label = "M" + std::to_string(i + 1);
    rig_text +=
        "[[speaker]]\nlabel = \"" + label + "\"\noutput = " + std::to_string(i + 1) + "\nband_hz = [50, 20000]\n";
    room += "[[speaker]]\nlabel = \"" + label + "\"\nposition_m = " + places[i] + "\n";
  }
  rig_text += "[[speaker]]\nlabel = \"LFE\"\noutput = 5\nkind = \"sub\"\nband_hz = [20, 250]\n";
  room += "[[speaker]]\nlabel = \"LFE\"\nposition_m = [" + std::to_string(x) + ", 1.8, -0.9]\n" + model;
  const Rig rig = parse_rig(rig_text, "rig.toml");
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
