#include "ringtrue/alignment/subwoofers.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <random>
#include <vector>

using namespace ringtrue;

namespace {

using Complex = std::complex<double>;

std::vector<double> bass_hz() {
  std::vector<double> f;
  for (int k = 0; k <= 41; ++k) f.push_back(28.75 + 1.25 * k);  // to 80 Hz
  return f;
}

/// Three random modes between 25 and 90 Hz, seen with another strength at each position.
BassResponses modal_room(std::mt19937_64& generator, std::size_t positions) {
  const auto uniform = [&](double low, double high) {
    return low + (high - low) * static_cast<double>(generator() >> 11) * 0x1.0p-53;
  };
  const auto f = bass_hz();
  BassResponses responses(positions, std::vector<Complex>(f.size(), 0.3));
  for (int mode = 0; mode < 3; ++mode) {
    const double at_hz = uniform(25.0, 90.0);
    for (auto& position : responses) {
      const double strength = uniform(-1.0, 1.0);
      for (std::size_t k = 0; k < f.size(); ++k) {
        const double x = f[k] / at_hz;
        position[k] += strength / Complex{1.0 - x * x, x / 8.0};
      }
    }
  }
  return responses;
}

}  // namespace

TEST_SUITE_BEGIN("alignment");

TEST_CASE("mean spatial variance is the mean over frequency of the variance over positions") {
  // By hand: 0 and 20 dB vary by 10^2 dB^2 around their mean, 6 and 6 dB not at all; the mean over both bins is 50.
  CHECK(std::abs(mean_spatial_variance_db2({{1.0, 2.0}, {10.0, 2.0}}) - 50.0) < 1e-9);
  CHECK(mean_spatial_variance_db2({{1.0, 5.0, 0.1}}) == 0.0);
  // Gain and phase of all positions alike do not matter.
  CHECK(std::abs(mean_spatial_variance_db2({{{0.0, 3.0}}, {{0.0, 30.0}}}) - 100.0) < 1e-9);
}

TEST_CASE("a sum of subs has each sub's delay and polarity") {
  // Closed form: a sub 10 ms later at 50 Hz is half a period later, in antiphase; inverted as well it is in phase.
  const std::vector<BassResponses> subs{{{1.0}}, {{0.5}}};
  const std::vector<double> f{50.0};
  CHECK(std::abs(sum_of(subs, {{{}, {10.0, false}}}, f)[0][0] - 0.5) < 1e-9);
  CHECK(std::abs(sum_of(subs, {{{}, {10.0, true}}}, f)[0][0] - 1.5) < 1e-9);
}

TEST_CASE("a gain of a sub counts in the sum") {
  const std::vector<BassResponses> subs{{{Complex{1.0}}}, {{Complex{1.0}}}};
  const double half_db = 20.0 * std::log10(0.5);
  CHECK(std::abs(sum_of(subs, {{{}, {0.0, false, half_db}}}, std::vector<double>{50.0})[0][0] - 1.5) < 1e-9);
}

TEST_CASE("two subs vary less over the positions than arriving together, as little as any of their offsets allow") {
  std::mt19937_64 generator{17};
  const auto f = bass_hz();
  int improved = 0;
  for (int room = 0; room < 10; ++room) {
    CAPTURE(room);
    const std::vector<BassResponses> subs{modal_room(generator, 4), modal_room(generator, 4)};
    const auto found = even_out_subwoofers(subs, f, true);
    CHECK(found[0].shift_ms == 0.0);
    CHECK_FALSE(found[0].flip);
    CHECK(std::max(found[0].gain_db, found[1].gain_db) == 0.0);
    const double together = mean_spatial_variance_db2(sum_of(subs, std::vector<SubwooferOffset>(2), f));
    const double reached = mean_spatial_variance_db2(sum_of(subs, found, f));
    CHECK(reached <= together);
    improved += reached < together - 0.5;
    const auto level_db = [&](const BassResponses& sum) {
      double level = 0.0;
      for (const auto& position : sum) {
        for (const auto& h : position) level += 20.0 * std::log10(std::abs(h));
      }
      return level / static_cast<double>(4 * f.size());
    };
    BassResponses powers = subs[0];
    for (std::size_t p = 0; p < powers.size(); ++p) {
      for (std::size_t k = 0; k < f.size(); ++k) {
        powers[p][k] = std::sqrt(std::norm(subs[0][p][k]) + std::norm(subs[1][p][k]));
      }
    }
    const double together_db = level_db(sum_of(subs, std::vector<SubwooferOffset>(2), f));
    const double wanted_db = std::max(together_db, level_db(powers)) - 2.0;
    double least = together;  // brute force over offsets that cost no output
    for (int k = 0; k < 41 * 2 * 9; ++k) {
      const double difference_db = 1.5 * (k / 82 - 4);  // -6 to 6 dB, second against first
      const std::vector<SubwooferOffset> tried{{0.0, false, std::min(0.0, -difference_db)},
                                               {0.5 * (k % 41 - 20), k / 41 % 2 == 1, std::min(0.0, difference_db)}};
      const auto sum = sum_of(subs, tried, f);
      if (level_db(sum) >= wanted_db) least = std::min(least, mean_spatial_variance_db2(sum));
    }
    CHECK(reached <= least + 0.2 + 1e-9);  // what wins less than 0.1 dB^2 is not taken, nor another starting point
  }
  CHECK(improved >= 5);
}

TEST_CASE("subs do not cancel each other for the sake of evenness") {
  // The second is the first plus a thousandth: inverted, the two leave the same everywhere, 60 dB down.
  std::mt19937_64 generator{29};
  const BassResponses first = modal_room(generator, 3);
  BassResponses second = first;
  for (auto& position : second) {
    for (auto& h : position) h += 1e-3;
  }
  const std::vector<BassResponses> subs{first, second};
  const auto found = even_out_subwoofers(subs, bass_hz(), true);
  CHECK_FALSE((found[1].flip && found[1].shift_ms == 0.0));
  CHECK(mean_spatial_variance_db2(sum_of(subs, {{{}, {0.0, true, 0.0}}}, bass_hz())) < 1e-6);  // so it would pay
}

TEST_CASE("a sub whose polarity was misread is turned over, with one mic position too") {
  std::mt19937_64 generator{31};
  const BassResponses room = modal_room(generator, 1);
  BassResponses turned = room;
  for (auto& h : turned[0]) h *= -0.9;
  const std::vector<BassResponses> subs{room, turned};
  const auto found = even_out_subwoofers(subs, bass_hz(), true);
  CHECK(found[1].flip);
  CHECK(found[1].shift_ms == 0.0);
  CHECK(found[1].gain_db == 0.0);
}

TEST_CASE("with one mic position, or one sub, all stays as it arrives") {
  std::mt19937_64 generator{2};
  const BassResponses room = modal_room(generator, 3);
  const std::vector<BassResponses> one_position{{room[0]}, {room[0]}};
  for (const auto& offset : even_out_subwoofers(one_position, bass_hz(), true)) {
    CHECK(offset.shift_ms == 0.0);
    CHECK_FALSE(offset.flip);
  }
  const auto alone = even_out_subwoofers(std::vector<BassResponses>{room}, bass_hz(), true);
  REQUIRE(alone.size() == 1);
  CHECK(alone[0].shift_ms == 0.0);
}

TEST_CASE("polarities stay where the interface cannot switch them") {
  std::mt19937_64 generator{23};
  for (int room = 0; room < 10; ++room) {
    const std::vector<BassResponses> subs{modal_room(generator, 3), modal_room(generator, 3), modal_room(generator, 3)};
    for (const auto& offset : even_out_subwoofers(subs, bass_hz(), false)) CHECK_FALSE(offset.flip);
  }
}

TEST_SUITE_END();
