#include "ringtrue/correction/fir.hpp"

#include <doctest/doctest.h>

#include <array>
#include <cmath>

#include "response/simulated.hpp"
#include "ringtrue/correction/equaliser.hpp"
#include "ringtrue/correction/fir_curve.hpp"
#include "sample_rate.hpp"

using namespace ringtrue;

namespace {

using ringtrue::test::rate;

GainCurve curve_of(const std::vector<Filter>& filters) {
  GainCurve curve;
  for (double f = 5.0; f < 24'000.0; f *= std::exp2(1.0 / 96.0)) curve.frequency_hz.push_back(f);
  curve.gain_db = gain_db(filters, curve.frequency_hz, rate);
  return curve;
}

}  // namespace

TEST_CASE("a minimum-phase filter of a minimum-phase filter's gain is that filter") {
  // Source: cookbook peaks are minimum phase (poles and zeros inside the unit circle), so gain determines phase too:
  // magnitude and phase must both come back.
  const std::vector<Filter> filters{{FilterShape::peak, 120.0, -6.0, 2.0}, {FilterShape::peak, 2'000.0, 2.5, 1.0}};
  const Fir fir = minimum_phase_fir(curve_of(filters), 16'384, rate);
  CHECK(fir.taps.size() == 16'384);
  CHECK(fir.delay == 0);
  for (const double f : {40.0, 100.0, 120.0, 150.0, 500.0, 2'000.0, 8'000.0}) {
    CAPTURE(f);
    const auto got = frequency_response(fir, Hertz{f}, rate);
    const auto want = frequency_response(sections_of(filters, rate), Hertz{f}, rate);
    CHECK(std::abs(got - want) < 0.01 * std::abs(want));
  }
}

TEST_CASE("no gain is one unit sample") {
  const Fir fir = minimum_phase_fir({{1'000.0}, {0.0}}, 256, rate);
  CHECK(std::abs(fir.taps[0] - 1.0) < 1e-9);
  for (std::size_t n = 1; n < fir.taps.size(); ++n) CHECK(std::abs(fir.taps[n]) < 1e-9);
}

TEST_CASE("a mixed-phase filter undoes a crossover's all-pass within its bound of pre-ringing") {
  // Source: closed form. The sum of an LR4 crossover's branches is the second-order all-pass of Q = sqrt(1/2); undone,
  // speaker and filter together have less phase than the speaker alone.
  const Biquad all_pass = all_pass_filter({Hertz{2'000.0}, std::sqrt(0.5), rate});
  const auto x = test::impulse(2'000.0, 1.0, 8'192);
  std::vector<float> speaker(x.size());
  std::vector<double> y(x.size());
  for (std::size_t n = 2; n < x.size(); ++n) {
    y[n] = all_pass.b0 * x[n] + all_pass.b1 * x[n - 1] + all_pass.b2 * x[n - 2] - all_pass.a1 * y[n - 1] -
           all_pass.a2 * y[n - 2];
    speaker[n] = static_cast<float>(y[n]);
  }
  const HeardResponse heard{speaker, rate.value(), 2'000.0, {Hertz{20.0}, Hertz{20'000.0}}};
  for (const double energy_db : {-10.0, -25.0, -60.0}) {
    CAPTURE(energy_db);
    const Fir fir = mixed_phase_fir({{1'000.0}, {0.0}}, heard, {3.0, energy_db}, 4'096, rate);
    CHECK(fir.delay == 144);  // 3 ms
    CHECK(early_energy_db(fir, rate) <= energy_db);
    for (const double f : {100.0, 1'000.0, 2'000.0, 5'000.0}) {
      CHECK(std::abs(20.0 * std::log10(std::abs(frequency_response(fir, Hertz{f}, rate)))) < 0.5);
    }
  }
  // How far the phase at 1.2 kHz stands from that at 3.5 kHz, beyond a delay's straight line through 6 kHz.
  const Fir fir = mixed_phase_fir({{1'000.0}, {0.0}}, heard, {3.0, -10.0}, 4'096, rate);
  const auto bend = [&](bool corrected) {
    double groups[2];
    int i = 0;
    for (const double f : {1'500.0, 5'000.0}) {  // group delay in ms by a difference
      const auto h = [&](double at) {
        const auto s = frequency_response(all_pass, Hertz{at}, rate);
        return corrected ? s * frequency_response(fir, Hertz{at}, rate) : s;
      };
      groups[i++] = -std::arg(h(f + 5.0) / h(f - 5.0)) / (2.0 * 3.14159265358979 * 10.0) * 1e3;
    }
    return std::abs(groups[0] - groups[1]);
  };
  CHECK(bend(true) < 0.5 * bend(false));
}

TEST_CASE("a bounded curve stays below its limit everywhere") {
  const GainCurve curve{{20.0, 60.0, 80.0, 110.0, 20'000.0}, {0.0, 0.0, 3.0, 0.0, 0.0}};
  for (const std::size_t taps : {std::size_t{512}, std::size_t{4'096}}) {
    CHECK(largest_gain_db(minimum_phase_fir(bounded_curve(curve, 2.0, taps, rate), taps, rate)) <= 2.0 + 1e-6);
  }
}
