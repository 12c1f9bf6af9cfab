#include "measured_ring.hpp"
#include "ringtrue/calibration/calibrate.hpp"

// The same room measured twice in a row, and a room coupled to another through an open door.

namespace ringtrue {
namespace {

using namespace test;

/// Correlation of two equally long responses.
double likeness(const std::vector<float>& a, const std::vector<float>& b) {
  double ab = 0.0, aa = 0.0, bb = 0.0;
  for (std::size_t n = 0; n < std::min(a.size(), b.size()); ++n) {
    ab += static_cast<double>(a[n]) * static_cast<double>(b[n]);
    aa += static_cast<double>(a[n]) * static_cast<double>(a[n]);
    bb += static_cast<double>(b[n]) * static_cast<double>(b[n]);
  }
  return ab / std::sqrt(aa * bb);
}

}  // namespace

TEST_SUITE_BEGIN("measured");

TEST_CASE("a room measured twice gives the same twice") {
  const auto folder = measured_folder("repeats");
  if (!folder) return;
  MeasuredRing ring{1};
  constexpr double gain_db = 20.0;  // the files peak at 0.006
  ring.add("first", {(*folder / "IR_numClosed_50_numComb_5000_mic_1_sweep_1.wav").string()}, gain_db);
  ring.add("second", {(*folder / "IR_numClosed_50_numComb_5000_mic_1_sweep_5.wav").string()}, gain_db);
  const auto measured = measure_all(ring.rig, ring.room);
  const auto& first = measured.front().speakers[0];
  const auto& second = measured.front().speakers[1];
  // The data's README: correlation at least 0.9997.
  CHECK(likeness(first.response.samples, second.response.samples) > 0.9997);
  CHECK(std::abs(arrival_ms(first) - arrival_ms(second)) < 0.001);  // same loudspeaker, microphone and room
  REQUIRE(first.level_db);
  REQUIRE(second.level_db);
  CHECK(std::abs(first.level_db->value - second.level_db->value) < 0.02);
  CHECK(first.sign == second.sign);
}

TEST_CASE("a coupled room's decay time says that it is not one exponential") {
  const auto folder = measured_folder("double_slope");
  if (!folder) return;
  MeasuredRing ring{1};
  ring.add("L", {(*folder / "doubleslope_RIR_200cm_ch1.wav").string()}, -6.0);
  ring.add("R", {(*folder / "doubleslope_RIR_200cm_ch1.wav").string()}, -6.0);
  const auto measured = measure_all(ring.rig, ring.room);
  for (const double centre_hz : {500.0, 1'000.0}) {
    CAPTURE(centre_hz);
    const auto found = octave_decay(measured.front().speakers[0], centre_hz);
    REQUIRE(found);
    REQUIRE(found->curvature_percent);
    CHECK(*found->curvature_percent > 20.0);  // ISO 3382-2 annex B: above 10 % is suspect
  }
  const Calibration calibration = calibrate(ring.rig, measured);
  CHECK(std::ranges::any_of(calibration.findings, [](const Finding& f) { return f.code == "two-slopes"; }));
}

TEST_SUITE_END();

}  // namespace ringtrue
