#include "ringtrue/response/band_decay.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <numbers>

#include "sample_rate.hpp"
#include "simulated.hpp"

namespace ringtrue {
namespace {

using ringtrue::test::rate_hz;
constexpr std::size_t arrival = 3'000;

/// White noise that dies away with a time T from sample 3000 on, in noise of a given level; what two takes would show.
Takes decaying_noise(double T_s, double noise_rms, std::uint64_t seed) {
  test::Noise random{seed};
  Takes takes{rate_hz, arrival, std::vector<float>(36'000), std::vector<float>(36'000)};
  for (std::size_t n = 0; n < takes.mean.size(); ++n) {
    const double t = (static_cast<double>(n) - static_cast<double>(arrival)) / rate_hz;
    const double amplitude = t < 0.0 ? 0.0 : std::exp(-3.0 * std::numbers::ln10 / T_s * t);
    takes.mean[n] = static_cast<float>(amplitude * random.next() + noise_rms * random.next());
    takes.noise[n] = static_cast<float>(noise_rms * random.next());
  }
  return takes;
}

const Band flat{Hertz{28.0}, Hertz{18'000.0}};

/// Mean over seeds of a band's answers, relative to the truth; and their scatter.
struct Answers {
  int count = 0;
  double sum = 0.0;
  double squares = 0.0;
  void add(const std::optional<double>& value, double truth) {
    if (!value) return;
    ++count;
    sum += *value / truth;
    squares += (*value / truth) * (*value / truth);
  }
  [[nodiscard]] double mean() const { return sum / count; }
  [[nodiscard]] double scatter() const { return std::sqrt(std::max(0.0, squares / count - mean() * mean())); }
};

}  // namespace

TEST_SUITE_BEGIN("response");

TEST_CASE("band filters keep the class 1 limits of IEC 61260-1 and add up to one") {
  // Source: IEC 61260-1:2014 Table 1, class 1 (read second-hand, octave_filter_limits.csv): most attenuation inside the
  // band at the breakpoints G^k, least outside; third octaves by its formula for their breakpoints.
  struct Limit {
    double k, least_db, most_db;
  };
  const double G = std::pow(10.0, 0.3);
  for (const BandWidth width : {BandWidth::octave, BandWidth::third_octave}) {
    for (const Limit& limit : {Limit{0.0, -0.4, 0.4}, Limit{0.125, -0.4, 0.5}, Limit{0.25, -0.4, 0.7},
                               Limit{0.375, -0.4, 1.4}, Limit{0.4999, -0.4, 5.3}, Limit{0.5001, 1.2, 1e9},
                               Limit{1.0, 16.6, 1e9}, Limit{2.0, 40.5, 1e9}, Limit{4.0, 70.0, 1e9}}) {
      CAPTURE(limit.k);
      double ratio = std::pow(G, limit.k);
      if (width == BandWidth::third_octave) {
        ratio = 1.0 + (std::pow(G, 1.0 / 6.0) - 1.0) / (std::sqrt(G) - 1.0) * (ratio - 1.0);
      }
      for (const double f : {1'000.0 * ratio, 1'000.0 / ratio}) {
        const double attenuation_db = -test::db(std::max(band_gain(f, 1'000.0, width), 1e-9));
        CHECK(attenuation_db >= limit.least_db);
        CHECK(attenuation_db <= limit.most_db);
      }
    }
    const double step = width == BandWidth::octave ? G : std::cbrt(G);
    for (double f = 900.0; f < 4'000.0; f *= 1.003) {  // power complementary: the level of the sum is the sum of levels
      double sum = 0.0;
      for (int k = -12; k <= 12; ++k) sum += std::pow(band_gain(f, 1'000.0 * std::pow(step, k), width), 2.0);
      CHECK(std::abs(sum - 1.0) < 1e-12);
    }
  }
}

TEST_CASE("decay of noise is found in every octave and third octave") {
  // Property: decaying white noise has the same T in every band. Twelve seeds; the scatter of one T30 is 0.59 /
  // sqrt(B T), that of one T20 0.96 / sqrt(B T) (ISO 3382-2 for integrated responses, from memory), of a mean of twelve
  // 0.29 of that; 8 % is what the filters' own ringing may add (docs/room.md).
  constexpr double T_s = 0.4;
  constexpr int seeds = 12;
  std::vector<Answers> octave_t30(8), third_t20(24), early(8);
  for (std::uint64_t seed = 1; seed <= seeds; ++seed) {
    const BandDecays found = band_decays(decaying_noise(T_s, 1e-4, seed), arrival, flat);
    REQUIRE(found.octaves.size() == 8);         // 63 Hz to 8 kHz
    REQUIRE(found.third_octaves.size() == 24);  // 50 Hz to 10 kHz
    for (std::size_t b = 0; b < 8; ++b) octave_t30[b].add(found.octaves[b].t30_s, T_s);
    for (std::size_t b = 0; b < 8; ++b) early[b].add(found.octaves[b].early_s, T_s);
    for (std::size_t b = 0; b < 24; ++b) third_t20[b].add(found.third_octaves[b].t20_s, T_s);
  }
  for (std::size_t b = 0; b < 8; ++b) {
    const double B_T = 63.0957 * std::pow(10.0, 0.3 * static_cast<double>(b)) * 0.7048 * T_s;
    CAPTURE(B_T);
    CHECK(octave_t30[b].count >= seeds - 1);
    CHECK(std::abs(octave_t30[b].mean() - 1.0) < 0.03 + 3.0 * 0.29 * 0.59 / std::sqrt(B_T));
    CHECK(octave_t30[b].scatter() < 1.6 * 0.59 / std::sqrt(B_T));
    if (b >= 2) CHECK(std::abs(early[b].mean() - 1.0) < 0.03 + 3.0 * 0.29 * 2.5 / std::sqrt(B_T));
  }
  for (std::size_t b = 0; b < 24; ++b) {
    const double B_T = 50.1187 * std::pow(10.0, 0.1 * static_cast<double>(b)) * 0.2308 * T_s;
    CAPTURE(B_T);
    if (B_T < 8.0) continue;
    CHECK(third_t20[b].count >= seeds - 3);
    CHECK(std::abs(third_t20[b].mean() - 1.0) < 0.08 + 3.0 * 0.29 * 0.96 / std::sqrt(B_T));
  }
}

TEST_CASE("decay has no answer where noise, filters or the sweep allow none") {
  // ISO 3382-1 4.2.1: 45 dB over the noise for T30, 35 dB for T20. Per band: white against white.
  const BandDecays at_40 = band_decays(decaying_noise(0.4, 1e-2, 3), arrival, flat);
  CHECK(at_40.octaves[5].t20_s);
  CHECK(!at_40.octaves[5].t30_s);
  const BandDecays at_25 = band_decays(decaying_noise(0.4, 0.056, 3), arrival, flat);
  CHECK(!at_25.octaves[5].t20_s);
  CHECK(at_25.octaves[5].early_s);
  // A third octave at 50 Hz is 11.6 Hz wide: T = 0.2 s gives B T = 2.3.
  const BandDecays dry = band_decays(decaying_noise(0.2, 1e-4, 3), arrival, flat);
  CHECK(!dry.third_octaves[0].t20_s);
  CHECK(dry.octaves[4].t30_s);
  const auto narrow =
      band_decays(decaying_noise(0.4, 1e-4, 3), arrival, {Hertz{70.0}, Hertz{9'000.0}}, BandWidth::octave);
  REQUIRE(narrow.size() == 6);  // 125 Hz to 4 kHz: the whole of a band must have been played
  CHECK(std::abs(narrow.front().centre_hz - 125.89) < 0.01);
}

TEST_CASE("early to late energy of an exponential decay is its closed form") {
  // Source: method_checks.csv rows c50, c80, ts: T = 0.3 s from t = 0: C50 9.542425 dB, C80 15.889517 dB, Ts 21.7147
  // ms. Decaying noise scatters around them: energies of 50 ms in an octave at 4 kHz have some 140 independent values.
  Answers c50, c80, centre;
  for (std::uint64_t seed = 1; seed <= 12; ++seed) {
    const auto bands = band_decays(decaying_noise(0.3, 1e-4, seed), arrival, flat, BandWidth::octave);
    c50.add(bands[6].clarity_50_db, 1.0);
    c80.add(bands[6].clarity_80_db, 1.0);
    centre.add(bands[6].centre_time_s, 1.0);
    CHECK(!bands[2].clarity_50_db);  // 250 Hz: the filter is not short against 50 ms
  }
  REQUIRE(c50.count == 12);
  CHECK(std::abs(c50.mean() - 9.542425394393252) < 0.3);
  CHECK(std::abs(c80.mean() - 15.889516667107648) < 0.4);
  CHECK(std::abs(centre.mean() - 0.021714724095162587) < 0.0006);
}

TEST_SUITE_END();

}  // namespace ringtrue
