#include "ringtrue/correction/wanted_correction.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>

using namespace ringtrue;

namespace {

/// A flat response with a bell (a Gaussian in log frequency) of a height and width in octaves.
ResponseToCorrect bell(double centre_hz, double height_db, double octaves, double spread_db = 0.0) {
  ResponseToCorrect response;
  response.frequency_hz = correction_grid({Hertz{20.0}, Hertz{20'000.0}});
  for (const double f : response.frequency_hz) {
    const double x = std::log2(f / centre_hz) / octaves;
    response.level_db.push_back(height_db * std::exp(-4.0 * std::log(2.0) * x * x));  // width at half height
    response.spread_db.push_back(spread_db);
  }
  return response;
}

double extreme(const std::vector<double>& gain_db) {
  return *std::ranges::max_element(gain_db, {}, [](double g) { return std::abs(g); });
}

WantedCorrection wanted(const ResponseToCorrect& response) {
  const std::vector<double> flat(response.frequency_hz.size());
  return wanted_correction(response, flat, {.band = {Hertz{40.0}, Hertz{8'000.0}}});
}

}  // namespace

TEST_CASE("a narrow dip asks for nothing, however deep") {
  // Property: a dip a quarter octave wide at half its depth; the gain wanted stays below the ripple of the mean.
  CHECK(std::ranges::max(wanted(bell(160.0, -20.0, 0.12)).gain_db) < 0.8);
}

TEST_CASE("a broad dip is filled no further than the interface boosts, a peak is cut") {
  CHECK(extreme(wanted(bell(300.0, -8.0, 2.0)).gain_db) == 3.0);
  const auto cut = wanted(bell(120.0, 6.0, 0.5));
  CHECK(extreme(cut.gain_db) < -5.0);
  CHECK(extreme(cut.gain_db) > -6.0);
}

TEST_CASE("what the positions do not share is corrected less") {
  // Closed form: with a spread as large as the reference of 10 dB, half of a peak.
  const double all = extreme(wanted(bell(120.0, 6.0, 0.5)).gain_db);
  const double half = extreme(wanted(bell(120.0, 6.0, 0.5, 10.0)).gain_db);
  CHECK(std::abs(half / all - 0.5) < 1e-9);
}

TEST_CASE("bass that the room carries below a speaker's own end is left, and what stands above the middle is cut") {
  // By hand: level with a peak of 6 dB at 80 Hz over a target that has fallen by 4 dB there: 10 dB over the target, 6
  // dB over its middle; elsewhere level with the middle.
  const auto response = bell(80.0, 6.0, 0.5);
  std::vector<double> end_db;
  for (const double f : response.frequency_hz) end_db.push_back(f < 120.0 ? -4.0 : 0.0);
  Restraint restraint{.band = {Hertz{40.0}, Hertz{8'000.0}}};
  const auto cut_to_the_slope = wanted_correction(response, end_db, restraint);
  restraint.low_end_db = end_db;
  const auto cut_to_the_middle = wanted_correction(response, end_db, restraint);
  const auto at = [&](const WantedCorrection& wanted, double frequency_hz) {
    const auto k = std::ranges::lower_bound(wanted.frequency_hz, frequency_hz) - wanted.frequency_hz.begin();
    return wanted.gain_db[static_cast<std::size_t>(k)];
  };
  CHECK(at(cut_to_the_slope, 50.0) == doctest::Approx(cut_to_the_slope.level_db - 4.0).epsilon(0.02));
  CHECK(at(cut_to_the_middle, 50.0) == 0.0);
  CHECK(at(cut_to_the_middle, 80.0) - at(cut_to_the_slope, 80.0) == doctest::Approx(4.0).epsilon(0.01));
}

TEST_CASE("nothing is wanted outside the band") {
  const auto result = wanted(bell(9'500.0, 6.0, 0.3));
  for (std::size_t k = 0; k < result.frequency_hz.size(); ++k) {
    if (result.frequency_hz[k] < 40.0 || result.frequency_hz[k] > 8'000.0) CHECK(result.weight[k] == 0.0);
  }
}

TEST_CASE("closing fills dips narrower than the width and keeps the rest") {
  // Closed form: the morphological closing of a line with notches of 2 and 6 points by a width of 5.
  std::vector<double> line(40, 1.0);
  std::fill(line.begin() + 10, line.begin() + 12, -5.0);
  std::fill(line.begin() + 20, line.begin() + 26, -5.0);
  const auto closed = close_dips(line, 5);
  CHECK(std::all_of(closed.begin(), closed.begin() + 20, [](double x) { return x == 1.0; }));
  CHECK(std::all_of(closed.begin() + 20, closed.begin() + 26, [](double x) { return x == -5.0; }));
}
