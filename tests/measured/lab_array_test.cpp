#include <Eigen/Dense>
#include <array>

#include "measured_ring.hpp"
#include "ringtrue/calibration/calibrate.hpp"

// One loudspeaker at several directions and distances round an open array: six microphones on a sphere of 5 cm and one
// at its centre. Ten measurements become ten speakers, seven microphones seven positions, the centre first. The time of
// flight was removed (the direct sound at the centre is at sample 480), the level was not.

namespace ringtrue {
namespace {

using namespace test;

struct Lab {
  Rig rig;
  std::vector<Row> known;        // one a speaker
  std::vector<Row> microphones;  // in the order of the positions
  std::vector<PositionMeasurement> positions;
};

std::optional<Lab> measured_lab() {
  const auto folder = measured_folder("lab_array");
  if (!folder) return {};
  Lab lab;
  lab.known = read_table(*folder / "ground_truth.csv");
  lab.microphones = read_table(*folder / "mic_geometry.csv");
  REQUIRE(lab.known.size() == 10);
  REQUIRE(lab.microphones.size() == 7);
  std::ranges::reverse(lab.microphones);
  MeasuredRing ring{lab.microphones.size()};
  for (const Row& row : lab.known) {
    std::vector<std::string> files;
    for (const Row& mic : lab.microphones) {
      files.push_back((*folder / row.at("file")).string() + "#" + mic.at("channel"));
    }
    ring.add("S" + std::to_string(ring.rig.speakers.size() + 1), std::move(files));
  }
  lab.rig = ring.rig;
  lab.positions = measure_all(ring.rig, ring.room);
  return lab;
}

/// Direction a plane wave comes from, by least squares over arrival differences to the centre:
/// t_i - t_0 = -(m_i . u) / c. In the data's axes: x front, y left, z up; not scaled to unit length.
Eigen::Vector3d plane_wave(const Lab& lab, std::size_t speaker) {
  const auto others = static_cast<Eigen::Index>(lab.microphones.size() - 1);
  Eigen::MatrixXd places(others, 3);
  Eigen::VectorXd earlier_m(others);
  const double centre_ms = arrival_ms(lab.positions[0].speakers[speaker]);
  for (Eigen::Index i = 0; i < others; ++i) {
    const auto p = static_cast<std::size_t>(i) + 1;
    const Row& mic = lab.microphones[p];
    places.row(i) << number(mic, "x_front_m"), number(mic, "y_left_m"), number(mic, "z_up_m");
    earlier_m[i] = (centre_ms - arrival_ms(lab.positions[p].speakers[speaker])) * 1e-3 * 343.0;
  }
  return places.colPivHouseholderQr().solve(earlier_m);
}

double degrees_apart(double a, double b) { return std::abs(std::remainder(a - b, 360.0)); }

/// Energy of the direct sound in a kept response, in dB: 40 samples before the arrival to 120 after it, as known.
double direct_energy_db(const SpeakerMeasurement& speaker) {
  const std::size_t arrival = arrival_index(speaker);
  double energy = 0.0;
  for (std::size_t n = arrival - 40; n < arrival + 120; ++n) {
    energy += static_cast<double>(speaker.response.samples[n]) * static_cast<double>(speaker.response.samples[n]);
  }
  return 10.0 * std::log10(energy);
}

}  // namespace

TEST_SUITE_BEGIN("measured");

TEST_CASE("an array in a lab: time, direction, level and polarity are what is known") {
  const auto lab = measured_lab();
  if (!lab) return;
  std::vector<double> centre_ms;
  std::map<std::string, double> direct_db;  // of the files straight ahead in the absorbent room, by distance
  for (std::size_t s = 0; s < lab->known.size(); ++s) {
    const Row& known = lab->known[s];
    CAPTURE(known.at("file"));
    const SpeakerMeasurement& centre = lab->positions.front().speakers[s];
    centre_ms.push_back(arrival_ms(centre));
    // Sample 480 at 48 kHz is 10 ms. Theirs is the highest sample, ours the upper band's envelope: 0.02 ms is a sample.
    CHECK(std::abs(arrival_ms(centre) - 10.0) < 0.02);
    // 3 degrees at 5 cm are 2.6 mm or 0.008 ms. The microphones shadow each other, which the plane wave leaves out.
    const Eigen::Vector3d from = plane_wave(*lab, s);
    const double azimuth_deg = std::atan2(from.y(), from.x()) * 180.0 / std::numbers::pi;
    CHECK(degrees_apart(azimuth_deg, -number(known, "azimuth_deg_signed_right_positive")) < 3.0);
    if (known.at("absorption_condition") == "100" && number(known, "azimuth_deg_signed_right_positive") == 0.0) {
      direct_db[known.at("distance_m")] = direct_energy_db(centre);
    }
    for (const PositionMeasurement& position : lab->positions) {
      CHECK(position.speakers[s].sign == WooferSign::positive);
    }
  }
  CHECK(spread_of(centre_ms) < 0.01);  // one loudspeaker: only its room and direction change
  // The data's README: -0.51, -3.10, -6.87 dB at 1.5, 2 and 3 m. Ours lacks what the sweep does not play (20-50 Hz).
  REQUIRE(direct_db.size() == 3);
  CHECK(std::abs(direct_db.at("1.5") + 0.51) < 0.1);
  CHECK(std::abs(direct_db.at("2.0") + 3.10) < 0.1);
  CHECK(std::abs(direct_db.at("3.0") + 6.87) < 0.1);
}

TEST_CASE("decay times in a lab are the published ones") {
  const auto lab = measured_lab();
  if (!lab) return;
  for (std::size_t s = 0; s < lab->known.size(); ++s) {
    const Row& known = lab->known[s];
    CAPTURE(known.at("file"));
    const SpeakerMeasurement& centre = lab->positions.front().speakers[s];
    // ISO 3382-1: 5 % is just noticeable; published T30 were made with other filters. Same room, same place: 3 %.
    for (const double centre_hz : {500.0, 1'000.0}) {
      CAPTURE(centre_hz);
      const double published = number(known, centre_hz == 500.0 ? "T30_500" : "T30_1000");
      const auto found = octave_decay(centre, centre_hz);
      REQUIRE(found);
      CHECK(found->range_db == 30.0);
      CHECK(std::abs(found->seconds / published - 1.0) < 0.03);
    }
    // Both octaves together lie between the two, or near the longer one, which is what is left at the end.
    const double low = std::min(number(known, "T30_500"), number(known, "T30_1000"));
    const double high = std::max(number(known, "T30_500"), number(known, "T30_1000"));
    REQUIRE(centre.decay_time_s);
    CHECK(*centre.decay_time_s > 0.97 * low);
    CHECK(*centre.decay_time_s < 1.03 * high);
  }
}

TEST_CASE("decay times in a lab are the published ones in every octave") {
  const auto lab = measured_lab();
  if (!lab) return;
  constexpr std::array columns{"T30_125", "T30_250", "T30_500", "T30_1000", "T30_2000", "T30_4000", "T30_8000"};
  for (std::size_t s = 0; s < lab->known.size(); ++s) {
    const Row& known = lab->known[s];
    CAPTURE(known.at("file"));
    const auto& octaves = lab->positions.front().speakers[s].decays.octaves;
    REQUIRE(octaves.size() == columns.size());  // the sweep begins at 50 Hz: 63 Hz is not whole
    for (std::size_t b = 0; b < columns.size(); ++b) {
      CAPTURE(columns[b]);
      const double published = number(known, columns[b]);
      REQUIRE(octaves[b].t30_s);
      // Other filters, other noise treatment. 5 % is just noticeable (ISO 3382-1); the scatter between filters grows
      // with 1 / sqrt(B T): a tenth of it on top.
      const double width_hz = 0.7048 * octaves[b].centre_hz;
      CHECK(std::abs(*octaves[b].t30_s / published - 1.0) < 0.05 + 0.6 / std::sqrt(width_hz * published));
    }
  }
}

TEST_SUITE_END();

}  // namespace ringtrue
