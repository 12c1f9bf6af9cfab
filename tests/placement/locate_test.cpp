#include "ringtrue/placement/locate.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <string>
#include <vector>

#include "response/simulated.hpp"
#include "ringtrue/placement/judge_places.hpp"
#include "ringtrue/rig/layout.hpp"

using namespace ringtrue;

namespace {

constexpr MetresPerSecond speed{343.2};
const std::vector<Point> usual_spots{{0.0, 0.0, 0.0}, {0.25, 0.0, 0.0}, {0.0, 0.25, 0.0}, {0.0, 0.0, 0.25}};

/// A 7.1.4 rig without the sub, every label once.
Rig ring() {
  Rig rig;
  rig.layout = "4+7+0";
  int output = 1;
  for (const char* label : {"L", "R", "C", "Lss", "Rss", "Lrs", "Rrs", "Ltf", "Rtf", "Ltr", "Rtr"}) {
    Speaker speaker;
    speaker.label = label;
    speaker.output = output++;
    rig.speakers.push_back(speaker);
  }
  return rig;
}

std::vector<Point> nominal_places(const Rig& rig, double radius_m) {
  std::vector<Point> places;
  for (const Direction& direction : nominal_directions(rig)) places.push_back(place(direction, radius_m));
  return places;
}

/// Times of flight to spots that stand a little off where they should, plus an offset for every spot.
std::vector<SpotArrivals> arrivals_at(const std::vector<Point>& places, const std::vector<Point>& spots,
                                      const std::vector<double>& offsets_ms, double spot_error_m = 0.0,
                                      std::uint64_t seed = 1) {
  test::Noise noise{seed};
  std::vector<Point> true_spots = spots;
  for (std::size_t p = 1; p < spots.size(); ++p) {
    true_spots[p] =
        spots[p] + Point{spot_error_m * noise.next(), spot_error_m * noise.next(), spot_error_m * noise.next()};
  }
  std::vector<SpotArrivals> arrivals;
  for (const Point& source : places) {
    SpotArrivals at_spots;
    for (std::size_t p = 0; p < spots.size(); ++p) {
      at_spots.emplace_back(distance_m(source, true_spots[p]) / speed.value() * 1e3 + offsets_ms[p]);
    }
    arrivals.push_back(std::move(at_spots));
  }
  return arrivals;
}

std::size_t count(const Findings& findings, const std::string& code) {
  return static_cast<std::size_t>(std::ranges::count(findings, code, &Finding::code));
}

}  // namespace

TEST_SUITE_BEGIN("placement");

TEST_CASE("ranges of the worked example lead back to its place") {
  // Source: method_checks.csv rows ml_r0 to ml_r4: s = (2, 1.5, 0.8), five spots, ranges to 1e-12 m. Coordinates as
  // printed there; only distances matter.
  const std::vector<Point> spots{{0, 0, 0}, {0.2, 0, 0}, {0, 0.2, 0}, {0, 0, 0.2}, {-0.2, -0.1, 0.1}};
  SpotArrivals arrivals;
  for (const double range_m :
       {2.6248809496813377, 2.4758836806279896, 2.515949125081825, 2.570992026436488, 2.8089143810376282}) {
    arrivals.emplace_back(range_m / speed.value() * 1e3);
  }
  LocateOptions options;
  options.absolute_time = true;
  const std::vector<SpotArrivals> one{arrivals};
  const auto found = locate(one, spots, {}, speed, options);
  REQUIRE(found[0]);
  CHECK(distance_m(found[0]->place, {2.0, 1.5, 0.8}) < 1e-6);
}

TEST_CASE("exact spots give the place within a millimetre, a centimetre of error within 8 cm") {
  const Rig rig = ring();
  const auto places = nominal_places(rig, 1.9);
  LocateOptions options;
  options.absolute_time = true;
  const std::vector<double> none(4, 0.0);
  const auto exact = locate(arrivals_at(places, usual_spots, none), usual_spots, {}, speed, options);
  for (std::size_t s = 0; s < places.size(); ++s) {
    REQUIRE(exact[s]);
    CHECK(distance_m(exact[s]->place, places[s]) < 0.001);
  }
  // A direction from a 25 cm base and 1 cm of error is good to some 2 to 3 degrees, 8 cm at 1.9 m, most of the time;
  // the stated uncertainty must cover it: 90 % of errors within two of it.
  std::size_t covered = 0;
  std::size_t all = 0;
  for (std::uint64_t seed = 1; seed <= 30; ++seed) {
    const auto found = locate(arrivals_at(places, usual_spots, none, 0.01, seed), usual_spots, {}, speed, options);
    for (std::size_t s = 0; s < places.size(); ++s) {
      REQUIRE(found[s]);
      const double error_m = distance_m(found[s]->place, places[s]);
      const double stated_m =
          std::hypot(found[s]->direction_uncertainty_deg * 3.14159265 / 180.0 * 1.9 * std::sqrt(2.0),
                     found[s]->distance_uncertainty_m);
      covered += error_m <= 2.0 * stated_m;
      ++all;
    }
  }
  CHECK(static_cast<double>(covered) >= 0.9 * static_cast<double>(all));
}

TEST_CASE("without absolute time the directions are still found") {
  // Every spot was another recording with a start of its own.
  const Rig rig = ring();
  const auto places = nominal_places(rig, 1.7);
  const auto arrivals = arrivals_at(places, usual_spots, {3.0, -12.0, 40.0, 0.7});
  const auto found = locate(arrivals, usual_spots, nominal_directions(rig), speed, {});
  for (std::size_t s = 0; s < places.size(); ++s) {
    REQUIRE(found[s]);
    const Direction is = direction_of(places[s]);
    const Direction seen = direction_of(found[s]->place);
    CHECK(std::abs(std::remainder(seen.azimuth_deg - is.azimuth_deg, 360.0)) < 6.0);
    CHECK(std::abs(seen.elevation_deg - is.elevation_deg) < 6.0);
    CHECK(found[s]->distance_uncertainty_m > 0.1);  // and it says that the distance is not
  }
}

TEST_CASE("spots in one plane or too few of them locate nothing") {
  const Rig rig = ring();
  const auto places = nominal_places(rig, 2.0);
  LocateOptions options;
  options.absolute_time = true;
  const std::vector<Point> flat{{0, 0, 0}, {0.25, 0, 0}, {0, 0.25, 0}, {-0.25, 0, 0}};
  for (const auto& found : locate(arrivals_at(places, flat, {0, 0, 0, 0}), flat, {}, speed, options)) CHECK(!found);
  const std::vector<Point> three(usual_spots.begin(), usual_spots.begin() + 3);
  for (const auto& found : locate(arrivals_at(places, three, {0, 0, 0}), three, {}, speed, options)) CHECK(!found);
}

TEST_CASE("every crossed pair of a ring is named, and a ring in its place is not") {
  const Rig rig = ring();
  const auto places = nominal_places(rig, 1.9);
  for (const bool absolute : {true, false}) {
    CAPTURE(absolute);
    LocateOptions options;
    options.absolute_time = absolute;
    const std::vector<double> offsets =
        absolute ? std::vector<double>(4, 0.0) : std::vector<double>{2.0, -9.0, 30.0, 5.0};
    const auto judge = [&](const std::vector<Point>& actual) {
      const auto found = locate(arrivals_at(actual, usual_spots, offsets, 0.005), usual_spots, nominal_directions(rig),
                                speed, options);
      return judge_places(rig, found);
    };
    CHECK(judge(places).empty());
    for (std::size_t i = 0; i < places.size(); ++i) {
      for (std::size_t j = i + 1; j < places.size(); ++j) {
        CAPTURE(rig.speakers[i].label);
        CAPTURE(rig.speakers[j].label);
        auto crossed = places;
        std::swap(crossed[i], crossed[j]);
        const Findings findings = judge(crossed);
        CHECK(count(findings, "swapped-outputs") == 2);
        CHECK(findings.size() == 2);
        for (const Finding& finding : findings) {
          CHECK((finding.speaker == rig.speakers[i].label || finding.speaker == rig.speakers[j].label));
        }
      }
    }
  }
}

TEST_CASE("a speaker outside its range is told where to go") {
  // By hand: Lss may stand at azimuth 85 to 110 (ITU-R BS.2051 system J). At 65 degrees and 2 m it is 20 degrees out;
  // the nearest allowed place, azimuth 85 at 2 m, lies 18 cm to the left and 67 cm back: x: -2 sin 85 + 2 sin 65 =
  // -0.180 m, y: 2 cos 85 - 2 cos 65 = -0.671 m.
  const Rig rig = ring();
  auto places = nominal_places(rig, 2.0);
  places[3] = place({65.0, 0.0}, 2.0);
  LocateOptions options;
  options.absolute_time = true;
  const auto found = locate(arrivals_at(places, usual_spots, {0, 0, 0, 0}), usual_spots, {}, speed, options);
  const Findings findings = judge_places(rig, found);
  REQUIRE(findings.size() == 1);
  CHECK(findings[0].code == "wrong-place");
  CHECK(findings[0].speaker == "Lss");
  CHECK(findings[0].severity == Severity::warn);
  CHECK(findings[0].message ==
        "Lss stands 20 degrees outside its range (found at azimuth 65, elevation 0). Move it 18 cm to the left, 67 cm "
        "back.");
}

TEST_SUITE_END();
