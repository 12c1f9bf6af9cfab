#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <optional>
#include <random>
#include <vector>

#include "ringtrue/alignment/delays.hpp"
#include "ringtrue/alignment/reference_level.hpp"
#include "ringtrue/alignment/trims.hpp"

using namespace ringtrue;

namespace {

const Steps delay_steps{{0.0, 40.0}, 0.01};
const Steps trim_steps{{-20.0, 0.0}, 0.1};

bool on_grid(double value, double step) { return std::abs(value / step - std::round(value / step)) < 1e-6; }

}  // namespace

TEST_SUITE_BEGIN("alignment");

TEST_CASE("the nearer speaker waits for the farther one") {
  // Source: method_checks.csv row "align": 2.10 m against 2.85 m at 343.2 m/s is 2.185315 ms.
  const std::vector<std::optional<double>> arrivals{2.10 / 343.2 * 1e3, 2.85 / 343.2 * 1e3};
  const auto delays = align_delays_ms(arrivals, delay_steps);
  CHECK(std::abs(delays[0]->value - 2.1853146853146855) <= 0.005 + 1e-9);
  CHECK(delays[1]->value == 0.0);
}

TEST_CASE("rounded delays and trims are on the grid, in range, and within half a step of what is wanted") {
  std::mt19937_64 generator{7};
  const auto uniform = [&](double low, double high) {
    return low + (high - low) * static_cast<double>(generator() >> 11) * 0x1.0p-53;
  };
  for (int round = 0; round < 200; ++round) {
    std::vector<std::optional<double>> arrivals;
    std::vector<std::optional<TrimInput>> levels;
    for (int s = 0; s < 12; ++s) {
      arrivals.push_back(uniform(0.0, 9.0));
      levels.push_back(TrimInput{uniform(-36.0, -24.0), s == 3 ? 10.0 : 0.0});
    }
    const auto delays = align_delays_ms(arrivals, delay_steps);
    const auto trims = level_trims_db(levels, trim_steps);
    // After the settings all arrive together and are equally loud; what remains is at most half a step each way.
    std::vector<double> late, loud;
    for (std::size_t s = 0; s < 12; ++s) {
      REQUIRE(on_grid(delays[s]->value, 0.01));
      REQUIRE(on_grid(trims[s]->value, 0.1));
      REQUIRE(delays[s]->value >= 0.0);
      REQUIRE(trims[s]->value <= 0.0);
      late.push_back(*arrivals[s] + delays[s]->value);
      if (!trims[s]->out_of_range) loud.push_back(levels[s]->level_db + trims[s]->value - levels[s]->above_mains_db);
    }
    const auto [first, last] = std::ranges::minmax(late);
    REQUIRE(last - first <= 0.01 + 1e-9);
    const auto [quietest, loudest] = std::ranges::minmax(loud);
    REQUIRE(loudest - quietest <= 0.1 + 1e-9);
    REQUIRE(std::ranges::count_if(delays, [](const auto& d) { return d->value == 0.0; }) >= 1);
  }
}

TEST_CASE("joint rounding removes an error that rounding one by one leaves") {
  // By hand: 0.4 and 0.6 of a step round to 0 and 1 one by one (0.4 off each way); shifted by 0.1 they round to 0 and 1
  // with 0.5 and 0.3; shifted by -0.1... the best common shift is 0, and for 0.45 and 1.45 it is -0.45: nothing
  // remains.
  const std::vector<std::optional<double>> wanted{0.45, 1.45};
  const auto rounded = round_jointly(wanted, {{0.0, 10.0}, 1.0});
  CHECK(rounded[0]->value == 0.0);
  CHECK(rounded[1]->value == 1.0);
  CHECK(std::abs(rounded[0]->remainder) < 0.011);  // the shift is searched in hundredths of a step
}

TEST_CASE("the quietest main keeps the highest trim and the others come down to it") {
  const std::vector<std::optional<TrimInput>> levels{TrimInput{-30.0}, TrimInput{-28.0}, TrimInput{-31.5}};
  const auto trims = level_trims_db(levels, trim_steps);
  CHECK(std::abs(trims[0]->value - -1.5) < 1e-9);
  CHECK(std::abs(trims[1]->value - -3.5) < 1e-9);
  CHECK(std::abs(trims[2]->value) < 1e-9);
}

TEST_CASE("a speaker that does not fit is named and the others still match") {
  // 25 dB below its fellows with 20 dB of range: that one stays at the top, short by 25 dB; the others keep theirs.
  const std::vector<std::optional<TrimInput>> levels{TrimInput{-30.0}, TrimInput{-29.0}, TrimInput{-55.0}};
  const auto trims = level_trims_db(levels, trim_steps);
  CHECK(!trims[0]->out_of_range);
  CHECK(!trims[1]->out_of_range);
  CHECK(trims[2]->out_of_range);
  CHECK(trims[2]->value == 0.0);
  CHECK(std::abs(trims[2]->remainder - 25.0) < 0.06);
  CHECK(std::abs((-30.0 + trims[0]->value) - (-29.0 + trims[1]->value)) < 0.1 + 1e-9);
}

TEST_CASE("a delay beyond the interface's range is cut there and says what is missing") {
  const std::vector<std::optional<double>> arrivals{0.0, 50.0};
  const auto delays = align_delays_ms(arrivals, delay_steps);
  CHECK(delays[0]->value == 40.0);
  CHECK(delays[0]->out_of_range);
  CHECK(std::abs(delays[0]->remainder - 10.0) < 1e-9);
}

TEST_CASE("joint rounding never pushes a value that fits out of its range") {
  // The quietest sits at the top of the range by definition; a shift that would lift it over the top is no gain.
  std::mt19937_64 generator{11};
  for (int round = 0; round < 300; ++round) {
    std::vector<std::optional<TrimInput>> levels;
    for (int s = 0; s < 12; ++s) {
      levels.push_back(TrimInput{-30.0 + 8.0 * static_cast<double>(generator() >> 11) * 0x1.0p-53});
    }
    for (const auto& trim : level_trims_db(levels, trim_steps)) {
      REQUIRE(!trim->out_of_range);
      REQUIRE(std::abs(trim->remainder) <= 0.05 + 1e-9);
    }
  }
}

TEST_CASE("speakers without a value are left out") {
  const std::vector<std::optional<double>> arrivals{std::nullopt, 1.0, 2.0};
  const auto delays = align_delays_ms(arrivals, delay_steps);
  CHECK(!delays[0]);
  CHECK(std::abs(delays[1]->value - 1.0) < 1e-9);
  const std::vector<std::optional<TrimInput>> levels{std::nullopt, std::nullopt};
  CHECK(!level_trims_db(levels, trim_steps)[0]);
}

TEST_CASE("ranges that start above zero or hold no whole number of steps are respected") {
  const std::vector<std::optional<double>> arrivals{0.0, 0.3};
  const auto delays = align_delays_ms(arrivals, {{1.05, 2.0}, 0.1});
  for (const auto& delay : delays) {
    CHECK(delay->value >= 1.05);
    CHECK(delay->value <= 2.0);
    CHECK(on_grid(delay->value, 0.1));
  }
}

TEST_CASE("the reference level follows the room's volume as ATSC A/85 has it") {
  // spl_reference.csv: 85 from 20000 cubic feet (566.3 m3), 82, 80, 78 from 1500 (42.5 m3), 76 below.
  CHECK(reference_level(600.0).spl_db == 85.0);
  CHECK(reference_level(300.0).spl_db == 82.0);
  CHECK(reference_level(200.0).spl_db == 80.0);
  CHECK(reference_level(59.5).spl_db == 78.0);
  CHECK(reference_level(30.0).spl_db == 76.0);
}

TEST_SUITE_END();
