#include "measured_ring.hpp"
#include "ringtrue/calibration/calibrate.hpp"
#include "ringtrue/capture/wav_file.hpp"
#include "ringtrue/core/units.hpp"

// One loudspeaker and twelve surveyed microphones in a room with five hard walls; by reciprocity twelve loudspeakers
// round one microphone. The time of flight was kept, the level was not.

namespace ringtrue {
namespace {

using namespace test;

constexpr double c_m_s = 345.844;  // the data's own

/// The temperature at which sound travels that fast: 343.2 sqrt((t + 273.15) / 293.15).
double temperature_c() { return 293.15 * std::pow(c_m_s / 343.2, 2.0) - 273.15; }

/// Which way each channel's direct sound goes, by its largest sample: three microphones were wired the other way round.
std::vector<int> recorded_signs(const std::filesystem::path& file) {
  std::vector<int> signs;
  for (const auto& channel : read_sound(file).channels) {
    const auto [low, high] = std::ranges::minmax(channel);
    signs.push_back(high > -low ? 1 : -1);
  }
  return signs;
}

}  // namespace

TEST_SUITE_BEGIN("measured");

TEST_CASE("twelve surveyed places: arrivals are the times of flight, polarity is never wrong") {
  const auto folder = measured_folder("twelve_mics");
  if (!folder) return;
  const auto file = *folder / "dechorate_011111_src0_12mics_400ms.wav";
  const auto known = read_table(*folder / "ground_truth.csv");
  REQUIRE(known.size() == 12);
  MeasuredRing ring{1};
  ring.rig.room.temperature_c = temperature_c();
  for (int k = 1; k <= 12; ++k) {
    const std::string number = std::to_string(k);
    ring.add("M" + number, {file.string() + "#" + number}, -24.0);
  }
  const auto measured = measure_all(ring.rig, ring.room);
  REQUIRE(measured.front().absolute_time);
  const auto& speakers = measured.front().speakers;

  std::vector<double> late_ms;       // after the geometric time of flight
  std::vector<double> annotated_ms;  // after the data's own annotation
  for (std::size_t k = 0; k < 12; ++k) {
    CAPTURE(k + 1);
    late_ms.push_back(arrival_ms(speakers[k]) - number(known[k], "tof_geometric_ms"));
    annotated_ms.push_back(arrival_ms(speakers[k]) - number(known[k], "toa_direct_annotated_ms"));
    // Survey and annotation differ by 0.005 to 0.132 ms among themselves, standard deviation 0.045 ms: we cannot be
    // judged more finely than that. Annotations mark the highest sample of pulses up to 0.2 ms wide.
    CHECK(std::abs(late_ms.back()) < 0.15);
    CHECK(std::abs(annotated_ms.back()) < 0.08);
  }
  CHECK(deviation_of(late_ms) < 0.05);
  CHECK(deviation_of(annotated_ms) < 0.045);
  // Microphones k and k + 6 stand 2.5 to 4 cm apart and hear the loudspeaker from the same side, so that survey errors
  // and directivity cancel: their difference is the survey's to 0.02 ms (7 mm).
  for (std::size_t k = 0; k < 6; ++k) {
    CAPTURE(k + 1);
    CHECK(std::abs(late_ms[k] - late_ms[k + 6]) < 0.02);
  }
  const Calibration calibration = calibrate(ring.rig, measured);
  for (std::size_t k = 0; k < 12; ++k) {
    CAPTURE(k + 1);
    const auto& position = calibration.speakers[k].measured.positions.front();
    REQUIRE(position.distance_m);
    CHECK(std::abs(*position.distance_m - number(known[k], "distance_m")) < 0.05);  // 0.15 ms of sound
  }
  const auto signs = recorded_signs(file);
  int sure = 0;
  for (std::size_t k = 0; k < 12; ++k) {
    CAPTURE(k + 1);
    CHECK(speakers[k].sign != (signs[k] > 0 ? WooferSign::negative : WooferSign::positive));
    sure += speakers[k].sign != WooferSign::unsure;
  }
  CHECK(sure == 12);
}

TEST_SUITE_END();

}  // namespace ringtrue
