#include "ringtrue/dsp/biquad.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <complex>
#include <limits>
#include <numbers>
#include <string>

#include "dsp/cookbook_table.hpp"
#include "ringtrue/core/errors.hpp"

using namespace ringtrue;
using test::Worked;
using test::worked;

namespace {

constexpr double half_power_q = std::numbers::sqrt2 / 2.0;

Biquad designed(const Worked& row) {
  const FilterPlace place{Hertz{row.frequency_hz}, row.q, Hertz{row.sample_rate_hz}};
  if (row.type == "peak") return peak_filter(place, Decibels{row.gain_db});
  if (row.type == "low_shelf") return low_shelf_filter(place, Decibels{row.gain_db});
  if (row.type == "high_shelf") return high_shelf_filter(place, Decibels{row.gain_db});
  if (row.type == "low_pass") return low_pass_filter(place);
  if (row.type == "high_pass") return high_pass_filter(place);
  return all_pass_filter(place);
}

/// Largest relative difference of the five coefficients.
double relative_difference(const Biquad& a, const Biquad& b) {
  const auto relative = [](double x, double y) { return std::abs(x - y) / std::abs(y); };
  return std::max(
      {relative(a.b0, b.b0), relative(a.b1, b.b1), relative(a.b2, b.b2), relative(a.a1, b.a1), relative(a.a2, b.a2)});
}

std::complex<double> at(const Biquad& section, double frequency_hz, double sample_rate_hz) {
  return frequency_response(section, Hertz{frequency_hz}, Hertz{sample_rate_hz});
}

double level_db(std::complex<double> h) { return 20.0 * std::log10(std::abs(h)); }

}  // namespace

TEST_SUITE_BEGIN("dsp");

TEST_CASE("sections have the coefficients of the cookbook's worked examples") {
  for (const Worked& row : worked) {
    CAPTURE(row.id);
    CHECK(relative_difference(designed(row), row.section) < 1e-9);
  }
}

TEST_CASE("a section's response is that of the cookbook's worked examples") {
  // The table prints 12 decimals; coefficients near those of a double zero at z = 1 cost some of them.
  for (const Worked& row : worked) {
    CAPTURE(row.id);
    const Biquad section = designed(row);
    const auto double_f0 = at(section, 2.0 * row.frequency_hz, row.sample_rate_hz);
    CHECK(std::abs(level_db(at(section, row.frequency_hz, row.sample_rate_hz)) - row.at_f0_db) < 1e-7);
    CHECK(std::abs(level_db(double_f0) - row.at_2_f0_db) < 1e-7);
    CHECK(std::abs(std::arg(double_f0) * 180.0 / std::numbers::pi - row.at_2_f0_deg) < 1e-6);
  }
}

TEST_CASE("a peak leaves both ends of the band alone, a shelf the far end only") {
  // Closed form: z = 1 and z = -1 in the cookbook's polynomials.
  const FilterPlace place{Hertz{120.0}, 1.4, Hertz{48'000.0}};
  for (const double gain_db : {-12.0, 3.0}) {
    const Decibels gain{gain_db};
    CHECK(std::abs(level_db(at(peak_filter(place, gain), 0.0, 48e3))) < 1e-9);
    CHECK(std::abs(level_db(at(peak_filter(place, gain), 24e3, 48e3))) < 1e-9);
    CHECK(std::abs(level_db(at(low_shelf_filter(place, gain), 0.0, 48e3)) - gain_db) < 1e-9);
    CHECK(std::abs(level_db(at(low_shelf_filter(place, gain), 24e3, 48e3))) < 1e-9);
    CHECK(std::abs(level_db(at(high_shelf_filter(place, gain), 0.0, 48e3))) < 1e-9);
    CHECK(std::abs(level_db(at(high_shelf_filter(place, gain), 24e3, 48e3)) - gain_db) < 1e-9);
  }
}

TEST_CASE("a cut undoes a boost of the same size") {
  const FilterPlace place{Hertz{315.0}, 2.3, Hertz{44'100.0}};
  using Make = Biquad (*)(const FilterPlace&, Decibels);
  for (const Make make : {&peak_filter, &low_shelf_filter, &high_shelf_filter}) {
    const Cascade both{make(place, Decibels{5.5}), make(place, Decibels{-5.5})};
    for (const double f : {40.0, 315.0, 5e3}) {
      CHECK(std::abs(frequency_response(both, Hertz{f}, Hertz{44'100.0}) - 1.0) < 1e-9);
    }
  }
}

TEST_CASE("no section at all passes everything") {
  CHECK(frequency_response(Cascade{}, Hertz{100.0}, Hertz{48e3}) == std::complex<double>{1.0, 0.0});
  CHECK(at(Biquad{}, 100.0, 48e3) == std::complex<double>{1.0, 0.0});
}

TEST_CASE("a filter that cannot be made is refused with its value") {
  const auto refusal = [](double frequency_hz, double q) -> std::string {
    try {
      (void)low_pass_filter({Hertz{frequency_hz}, q, Hertz{48'000.0}});
    } catch (const InvalidInput& error) {
      return error.what();
    }
    return "accepted";
  };
  CHECK(refusal(1e3, half_power_q) == "accepted");
  CHECK(refusal(0.0, 1.0) ==
        "filter: 0 Hz is not between 0 and half the sample rate of 48000 Hz; choose a frequency in between");
  CHECK(refusal(24e3, 1.0) ==
        "filter: 24000 Hz is not between 0 and half the sample rate of 48000 Hz; choose a frequency in between");
  CHECK(refusal(1e3, 0.0) == "filter: a Q of 0; choose a Q above 0");
  CHECK(refusal(std::numeric_limits<double>::quiet_NaN(), 1.0) ==
        "filter: nan Hz is not between 0 and half the sample rate of 48000 Hz; choose a frequency in between");
}

TEST_SUITE_END();
