#include <fmt/format.h>

#include "measured_ring.hpp"
#include "ringtrue/calibration/calibrate.hpp"
#include "ringtrue/rig/rig_file.hpp"

// A 7.1.4 ring in a listening room that its makers had aligned in delay and level at the centre, heard by a dummy head:
// two ears, two mic positions.

namespace ringtrue {
namespace {

using namespace test;

constexpr double ear_from_centre_m = 0.0875;  // usual radius of a head

/// How much later than at its centre a plane wave arrives on average at the two ears of a rigid sphere: the near ear
/// a sin(x) / c early, the far ear a x / c late, x the angle to the median plane (R. S. Woodworth, 1938).
double head_delay_ms(double azimuth_deg, double elevation_deg) {
  constexpr double to_rad = std::numbers::pi / 180.0;
  const double x = std::asin(std::abs(std::sin(azimuth_deg * to_rad) * std::cos(elevation_deg * to_rad)));
  return 0.5e3 * ear_from_centre_m / 343.0 * (x - std::sin(x));
}

std::string rig_text(const std::vector<Row>& known) {
  std::string text = "layout = \"4+7+0\"\n";
  for (std::size_t s = 0; s < known.size(); ++s) {
    text += fmt::format("[[speaker]]\nlabel = \"{}\"\noutput = {}\n", known[s].at("role_if_used_as_7.1.4"), s + 1);
  }
  for (const double x : {-ear_from_centre_m, ear_from_centre_m}) {
    text += fmt::format("[[position]]\noffset_m = [{}, 0.0, 0.0]\n", x);
  }
  return text;
}

std::string room_text(const std::vector<Row>& known) {
  std::string text = "[noise]\nwhite_dbfs = -110\n";
  for (const Row& row : known) {
    text += fmt::format("[[speaker]]\nlabel = \"{}\"\nimpulse_response_files = [\"{}#1\", \"{}#2\"]\n",
                        row.at("role_if_used_as_7.1.4"), row.at("file"), row.at("file"));
  }
  return text;
}

/// Delay settings averaged over the two ears: each in turn is the listening position.
std::vector<double> mean_delays_ms(const Rig& rig, std::vector<PositionMeasurement> ears) {
  const Calibration left = calibrate(rig, ears);
  std::ranges::swap(ears.front(), ears.back());
  const Calibration right = calibrate(rig, ears);
  std::vector<double> delays;
  for (std::size_t s = 0; s < rig.speakers.size(); ++s) {
    REQUIRE(left.speakers[s].settings.delay_ms);
    REQUIRE(right.speakers[s].settings.delay_ms);
    delays.push_back(0.5 * (*left.speakers[s].settings.delay_ms + *right.speakers[s].settings.delay_ms));
  }
  return delays;
}

}  // namespace

TEST_SUITE_BEGIN("measured");

TEST_CASE("an aligned ring in a listening room: next to nothing is left to do in time, and nothing is wrong") {
  const auto folder = measured_folder("listening_room");
  if (!folder) return;
  const auto known = read_table(*folder / "positions.csv");
  REQUIRE(known.size() == 11);
  const Rig rig = parse_rig(rig_text(known), "rig.toml");
  const VirtualRoom room = parse_virtual_room(room_text(known), (*folder / "room.toml").string(), rig);
  const auto ears = measure_all(rig, room);

  std::vector<double> mean_ms, mean_known_ms, without_head_ms, radius_ms;
  for (std::size_t s = 0; s < known.size(); ++s) {
    CAPTURE(rig.speakers[s].label);
    const double left = arrival_ms(ears[0].speakers[s]);
    const double right = arrival_ms(ears[1].speakers[s]);
    // The known onsets were computed with another rule (and are good for comparison, not as truth): after their common
    // shift of 0.06 ms ours are within 0.06 ms, but for the far ear of a speaker straight at the side, in the head's
    // shadow, where a weak early ripple counts as the first peak.
    const bool left_shadowed = number(known[s], "azimuth_deg_left_positive") == -90.0;
    CHECK(std::abs(left - number(known[s], "onset_left_ear_ms_computed") - 0.06) < (left_shadowed ? 0.2 : 0.06));
    CHECK(std::abs(right - number(known[s], "onset_right_ear_ms_computed") - 0.06) < 0.06);
    mean_ms.push_back(0.5 * (left + right));
    mean_known_ms.push_back(
        0.5 * (number(known[s], "onset_left_ear_ms_computed") + number(known[s], "onset_right_ear_ms_computed")));
    without_head_ms.push_back(mean_ms.back() - head_delay_ms(number(known[s], "azimuth_deg_left_positive"),
                                                             number(known[s], "elevation_deg")));
    radius_ms.push_back(number(known[s], "true_radius_m") / 343.0 * 1e3);
  }
  // What is known: averaged over both ears the onsets agree within 0.06 ms (standard deviation).
  CHECK(deviation_of(mean_known_ms) < 0.065);  // the table itself, as a check of our reading of it
  CHECK(deviation_of(mean_ms) < 0.07);
  CHECK(deviation_of(without_head_ms) < 0.06);
  // The radii alone would want 3.2 ms of delay: the makers' alignment is seen, and little is left to do.
  CHECK(spread_of(radius_ms) > 3.0);
  CHECK(spread_of(mean_delays_ms(rig, ears)) < 0.25);

  const Calibration calibration = calibrate(rig, ears);
  CHECK(!needs_attention(calibration.findings));
  for (const Finding& finding : calibration.findings) {  // a good room and good speakers: nothing to say of either
    CAPTURE(finding.message);
    for (const char* code : {"room-decay", "two-slopes", "distortion"}) CHECK(finding.code != code);
  }
  for (const SpeakerResult& speaker : calibration.speakers) {
    CAPTURE(speaker.label);
    CHECK(speaker.status == Status::ok);
    CHECK(speaker.measured.polarity == Polarity::normal);
  }
}

TEST_CASE("a listening room's decay is that of a listening room") {
  const auto folder = measured_folder("listening_room");
  if (!folder) return;
  const auto known = read_table(*folder / "positions.csv");
  const Rig rig = parse_rig(rig_text(known), "rig.toml");
  const VirtualRoom room = parse_virtual_room(room_text(known), (*folder / "room.toml").string(), rig);
  const auto ears = measure_all(rig, room);
  for (const PositionMeasurement& ear : ears) {
    for (std::size_t s = 0; s < rig.speakers.size(); ++s) {
      CAPTURE(rig.speakers[s].label);
      REQUIRE(ear.speakers[s].decay_time_s);
      // ITU-R BS.1116 wants 0.25 (V/100 m3)^(1/3) s: 0.17 to 0.25 s for 30 to 100 m3, with 0.05 s to either side. A
      // dummy head hears single directions, whose decays begin with a strong direct sound: some fall faster.
      CHECK(*ear.speakers[s].decay_time_s > 0.12);
      CHECK(*ear.speakers[s].decay_time_s < 0.30);
    }
  }
}

TEST_SUITE_END();

}  // namespace ringtrue
