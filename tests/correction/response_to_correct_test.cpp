#include "ringtrue/correction/response_to_correct.hpp"

#include <doctest/doctest.h>

#include <array>
#include <cmath>
#include <numbers>

#include "response/simulated.hpp"
#include "ringtrue/dsp/biquad.hpp"
#include "sample_rate.hpp"

using namespace ringtrue;

namespace {

using ringtrue::test::rate_hz;
constexpr Band whole_band{Hertz{5.0}, Hertz{22'000.0}};

std::vector<float> samples_of(const std::vector<double>& h) { return {h.begin(), h.end()}; }

/// An impulse through one section, direct form I.
std::vector<float> through(const Biquad& s, double arrival) {
  const auto x = test::impulse(arrival, 1.0, 36'000);
  std::vector<double> y(x.size());
  for (std::size_t n = 2; n < x.size(); ++n) {
    y[n] = s.b0 * x[n] + s.b1 * x[n - 1] + s.b2 * x[n - 2] - s.a1 * y[n - 1] - s.a2 * y[n - 2];
  }
  return samples_of(y);
}

HeardResponse heard(const std::vector<float>& samples, double arrival) {
  return {samples, rate_hz, arrival, whole_band};
}

}  // namespace

TEST_CASE("the response to correct is the speaker's own where it is smooth") {
  // Source: the cookbook's closed form of a broad bell, -5 dB at 400 Hz, Q 0.7; smoothing moves it by less than 0.1 dB.
  const Biquad bell = peak_filter({Hertz{400.0}, 0.7, Hertz{rate_hz}}, Decibels{-5.0});
  const auto samples = through(bell, 3'000.0);
  const std::array positions{heard(samples, 3'000.0)};
  const auto response = response_to_correct(positions, {Hertz{30.0}, Hertz{10'000.0}}, Hertz{200.0});
  REQUIRE(response.frequency_hz.size() > 150);
  for (std::size_t k = 0; k < response.frequency_hz.size(); ++k) {
    const double f = response.frequency_hz[k];
    CAPTURE(f);
    const double truth = 10.0 * std::log10(std::norm(frequency_response(bell, Hertz{f}, Hertz{rate_hz})));
    CHECK(std::abs(response.level_db[k] - truth) < 0.1);
    CHECK(response.spread_db[k] == 0.0);
  }
}

TEST_CASE("positions are averaged by power, the listening position counting half again as much") {
  // Closed form: 10 lg ((1.5 x 1 + 4) / 2.5) for gains 1 and 2.
  const auto here = samples_of(test::impulse(3'000.0, 1.0, 36'000));
  const auto there = samples_of(test::impulse(3'000.0, 2.0, 36'000));
  const std::array positions{heard(here, 3'000.0), heard(there, 3'000.0)};
  const auto response = response_to_correct(positions, {Hertz{100.0}, Hertz{5'000.0}}, Hertz{200.0});
  for (std::size_t k = 0; k < response.frequency_hz.size(); ++k) {
    CHECK(std::abs(response.level_db[k] - 10.0 * std::log10(5.5 / 2.5)) < 0.02);
    CHECK(response.spread_db[k] < 0.01);  // a difference of level alone is no disagreement
  }
}

TEST_CASE("a late echo counts in the bass and not in the treble") {
  // Closed form: an echo of equal strength 150 ms late adds 3.01 dB of power where the window holds it (60 cycles:
  // below 400 Hz) and nothing where it does not.
  auto h = test::impulse(3'000.0, 1.0, 36'000);
  const auto echo = test::impulse(3'000.0 + 0.15 * rate_hz, 1.0, 36'000);
  for (std::size_t n = 0; n < h.size(); ++n) h[n] += echo[n];
  const auto samples = samples_of(h);
  const std::array positions{heard(samples, 3'000.0)};
  const auto response = response_to_correct(positions, {Hertz{60.0}, Hertz{8'000.0}}, Hertz{4'000.0});
  for (std::size_t k = 0; k < response.frequency_hz.size(); ++k) {
    if (response.frequency_hz[k] > 1'000.0) CHECK(std::abs(response.level_db[k]) < 0.05);
    if (response.frequency_hz[k] > 100.0 && response.frequency_hz[k] < 180.0) {
      CHECK(std::abs(response.level_db[k] - 3.01) < 1.0);
    }
  }
}

TEST_CASE("cells hold the level of pink noise in a band") {
  // Closed form: an impulse of gain g has 20 lg g in every band; through -6 dB filters 6 dB less.
  const auto samples = samples_of(test::impulse(3'000.0, 0.5, 36'000));
  const PowerCells cells{heard(samples, 3'000.0)};
  const std::vector<double> filters(static_cast<std::size_t>(PowerCells::count), -6.0);
  for (const Band band : {Band{Hertz{500.0}, Hertz{2'000.0}}, Band{Hertz{30.0}, Hertz{80.0}}}) {
    CHECK(std::abs(cells.level_db(band) - 20.0 * std::log10(0.5)) < 1e-3);
    CHECK(std::abs(cells.level_db(band, filters) - 20.0 * std::log10(0.5) + 6.0) < 1e-3);
  }
  CHECK(std::abs(PowerCells::centre_hz(320) - 1'007.2215) < 1e-3);  // 10^(480.5 / 160)
}
