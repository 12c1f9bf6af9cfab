#include "ringtrue/correction/fit.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <array>
#include <chrono>
#include <cmath>
#include <random>

#include "sample_rate.hpp"

using namespace ringtrue;

namespace {

using ringtrue::test::rate;
constexpr Hertz transition{200.0};

/// Wanted gains on the usual grid, from a function of frequency.
template <class Function>
WantedCorrection wanted_of(const Function& gain) {
  WantedCorrection wanted;
  wanted.frequency_hz = correction_grid({Hertz{20.0}, Hertz{20'000.0}});
  for (const double f : wanted.frequency_hz) {
    wanted.gain_db.push_back(gain(f));
    wanted.weight.push_back(f >= 40.0 && f <= 8'000.0 ? 1.0 : 0.0);
  }
  return wanted;
}

WantedCorrection wanted_of(const std::vector<Filter>& filters) {
  return wanted_of([&](double f) { return gain_db(filters, std::array{f}, rate).front(); });
}

/// Standard deviation of what the filters leave of what is wanted, inside the band.
double left_db(const WantedCorrection& wanted, const std::vector<Filter>& filters) {
  const auto gain = gain_db(filters, wanted.frequency_hz, rate);
  double count = 0.0, sum = 0.0, square = 0.0;
  for (std::size_t k = 0; k < gain.size(); ++k) {
    if (wanted.weight[k] <= 0.0) continue;
    const double e = wanted.gain_db[k] - gain[k];
    count += 1.0;
    sum += e;
    square += e * e;
  }
  return std::sqrt(square / count - sum * sum / (count * count));
}

/// A rough response: a dozen random bells.
WantedCorrection rough(unsigned seed) {
  std::mt19937_64 random{seed};
  const auto uniform = [&](double low, double high) {
    return low + (high - low) * static_cast<double>(random() >> 11) * 0x1.0p-53;
  };
  std::vector<Filter> bells;
  for (int i = 0; i < 12; ++i) {
    bells.push_back({FilterShape::peak, 40.0 * std::exp2(uniform(0.0, 7.0)), uniform(-9.0, 5.0), uniform(0.6, 6.0)});
  }
  return wanted_of(bells);
}

bool on_step(double value, double step) { return std::abs(value / step - std::round(value / step)) < 1e-6; }

}  // namespace

TEST_CASE("two filters are found again where two filters made the response") {
  // Source: the filters the wanted gain was made of (cookbook).
  const std::vector<Filter> truth{{FilterShape::peak, 63.0, -6.0, 4.0}, {FilterShape::peak, 900.0, -4.0, 1.0}};
  const auto found = fit_equalisers(std::array{wanted_of(truth)}, {}, transition).front();
  REQUIRE(found.size() == 2);
  CHECK(std::abs(found[0].frequency_hz - 63.0) <= 1.0);
  CHECK(std::abs(found[0].gain_db + 6.0) <= 0.2);
  CHECK(std::abs(found[0].q - 4.0) <= 0.3);
  CHECK(std::abs(found[1].frequency_hz - 900.0) <= 20.0);
  CHECK(std::abs(found[1].gain_db + 4.0) <= 0.2);
}

TEST_CASE("nothing to correct needs no filter, and no bands give none") {
  CHECK(fit_equalisers(std::array{wanted_of([](double) { return -3.0; })}, {}, transition).front().empty());
  CHECK(fit_equalisers(std::array{rough(1)}, {.bands = 0}, transition).front().empty());
}

TEST_CASE("whatever is wanted, the filters keep the interface's limits and steps") {
  const std::array limits{
      EqualiserLimits{},
      EqualiserLimits{.bands = 3, .gain_range_db = {-6.0, 0.0}, .gain_step_db = 0.5, .q_range = {1.0, 4.0}},
      EqualiserLimits{.bands = 5, .gain_range_db = {-20.0, 6.0}, .frequency_range_hz = {60.0, 1'000.0}},
      EqualiserLimits{.bands = 12, .q_range = {2.0, 2.0}, .frequency_step_hz = 5.0, .sample_rate_hz = 96'000.0}};
  for (unsigned seed = 1; seed <= 6; ++seed) {
    for (std::size_t i = 0; i < limits.size(); ++i) {
      CAPTURE(seed);
      CAPTURE(i);
      const EqualiserLimits& limit = limits[i];
      const WantedCorrection wanted = rough(seed);
      const auto filters = fit_equalisers(std::array{wanted}, limit, transition).front();
      CHECK(std::ssize(filters) <= limit.bands);
      CHECK(largest_gain_db(filters, Hertz{limit.sample_rate_hz}) <= limit.gain_range_db[1] + 1e-6);
      CHECK(left_db(wanted, filters) < left_db(wanted, {}));
      for (const Filter& filter : filters) {
        CHECK(filter.gain_db >= limit.gain_range_db[0] - 1e-9);
        CHECK(filter.gain_db <= limit.gain_range_db[1] + 1e-9);
        CHECK(filter.q >= limit.q_range[0] - 1e-9);
        CHECK(filter.q <= limit.q_range[1] + 1e-9);
        CHECK(filter.frequency_hz >= limit.frequency_range_hz[0]);
        CHECK(filter.frequency_hz <= limit.frequency_range_hz[1]);
        CHECK(on_step(filter.gain_db, limit.gain_step_db));
        CHECK(on_step(filter.frequency_hz, limit.frequency_step_hz));
        if (filter.frequency_hz > transition.value()) CHECK(filter.q <= 2.0 + 1e-9);
      }
    }
  }
}

TEST_CASE("no boost stands where the filters together cut") {
  // Property: the sum at a boost's own frequency is at least half the boost, but for rounding.
  for (unsigned seed = 1; seed <= 8; ++seed) {
    CAPTURE(seed);
    const auto filters = fit_equalisers(std::array{rough(seed)}, {}, transition).front();
    for (const Filter& filter : filters) {
      if (filter.gain_db <= 0.0) continue;
      CHECK(gain_db(filters, std::array{filter.frequency_hz}, rate).front() >= 0.5 * filter.gain_db - 0.35);
    }
  }
}

TEST_CASE("a pair shares its filters above the transition and has its own below") {
  const std::array pair{rough(3), rough(4)};
  const auto filters = fit_equalisers(pair, {}, transition);
  std::vector<Filter> above[2];
  for (std::size_t m = 0; m < 2; ++m) {
    CHECK(filters[m].size() <= 8);
    CHECK(left_db(pair[m], filters[m]) < left_db(pair[m], {}));
    std::ranges::copy_if(filters[m], std::back_inserter(above[m]),
                         [](const Filter& f) { return f.frequency_hz > transition.value(); });
  }
  CHECK_FALSE(above[0].empty());
  CHECK(above[0] == above[1]);
}

TEST_CASE("the same request gives the same filters") {
  CHECK(fit_equalisers(std::array{rough(5)}, {}, transition) == fit_equalisers(std::array{rough(5)}, {}, transition));
}
