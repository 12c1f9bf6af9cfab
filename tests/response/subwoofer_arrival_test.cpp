#include <doctest/doctest.h>

#include <cmath>
#include <complex>
#include <numbers>
#include <utility>
#include <vector>

#include "response/simulated.hpp"
#include "ringtrue/response/arrival.hpp"
#include "ringtrue/response/deconvolution.hpp"
#include "ringtrue/response/subwoofer_model.hpp"
#include "sample_rate.hpp"

using namespace ringtrue;

namespace {

using ringtrue::test::rate_hz;
constexpr std::size_t zero_index = 2'880;  // as measure() has it: 60 ms
const Band band{Hertz{20.0}, Hertz{200.0}};

using Complex = std::complex<double>;
using Echo = std::pair<double, double>;  // after the direct sound in ms, gain

/// Butterworth low-pass of order 2, or 4 as two of them (a Linkwitz-Riley slope, which no model has).
Complex low_pass(int order, Complex p) {
  const Complex second = 1.0 / (p * p + std::numbers::sqrt2 * p + 1.0);
  return order == 2 ? second : second * second;
}

struct Sub {
  double high_pass_hz;
  int below;
  double low_pass_hz;
  int above;
};

/// Takes of a subwoofer whose direct sound begins `delay_ms` after the zero, with a deconvolver's taper and noise.
Takes takes_of(const Sub& sub, double sign, double delay_ms, const std::vector<Echo>& echoes, double noise_rms) {
  const RealFft fft{32'768};
  std::vector<Complex> bins(fft.bin_count());
  for (std::size_t k = 1; k < bins.size(); ++k) {
    const double f = static_cast<double>(k) * rate_hz / static_cast<double>(fft.size());
    const double at_s = static_cast<double>(zero_index) / rate_hz + 1e-3 * delay_ms;
    Complex paths = std::polar(1.0, -2.0 * std::numbers::pi * f * at_s);
    for (const auto& [later_ms, gain] : echoes) {
      paths += std::polar(gain, -2.0 * std::numbers::pi * f * (at_s + 1e-3 * later_ms));
    }
    bins[k] = sign * paths * band_taper(f, band) * low_pass(sub.above, {0.0, f / sub.low_pass_hz}) *
              low_pass(sub.below, {0.0, -sub.high_pass_hz / f});
  }
  std::vector<double> h(fft.size());
  fft.inverse(bins, h);
  test::Noise noise{4};
  auto first = h;
  auto second = h;
  for (double& x : first) x += noise_rms * noise.next();
  for (double& x : second) x += noise_rms * noise.next();
  return combine(test::in_single(first), test::in_single(second), rate_hz, zero_index);
}

const std::vector<Sub> subs{{20.0, 2, 120.0, 4}, {25.0, 4, 100.0, 4}, {30.0, 4, 150.0, 2}, {22.0, 2, 90.0, 2}};
const std::vector<std::vector<Echo>> rooms{
    {},
    {{4.0, 0.6}, {7.5, 0.5}, {11.0, 0.4}},
    {{6.0, 0.9}, {9.0, 0.7}, {14.0, 0.6}, {19.0, 0.5}, {26.0, 0.4}},
};

}  // namespace

TEST_SUITE_BEGIN("response");

TEST_CASE("a subwoofer's onset and sign come out through reflections, whichever way it moves") {
  // Source: the delay put in. Tolerance for a low-pass of order 4, for which the bias was tuned (on other rooms): the
  // stated deviation of 0.6 ms and a half. One of order 2 rises sooner and is taken for earlier (docs/measuring.md):
  // 2.6 ms. A wrong lobe of 80 Hz would be 6 ms off.
  for (std::size_t s = 0; s < subs.size(); ++s) {
    for (std::size_t r = 0; r < rooms.size(); ++r) {
      for (const double sign : {1.0, -1.0}) {
        for (const double delay_ms : {2.0, 7.3}) {
          CAPTURE(s);
          CAPTURE(r);
          CAPTURE(sign);
          CAPTURE(delay_ms);
          const auto found = subwoofer_onset(takes_of(subs[s], sign, delay_ms, rooms[r], 1e-5), band);
          REQUIRE(found);
          const double onset_ms = (found->arrival.index - static_cast<double>(zero_index)) / 48.0;
          CHECK(std::abs(onset_ms - delay_ms) < (subs[s].above == 4 ? 0.9 : 2.6));
          CHECK(found->arrival.uncertainty_samples >= 0.6 * 48.0);
          CHECK(found->sign == (sign > 0.0 ? WooferSign::positive : WooferSign::negative));
        }
      }
    }
  }
}

TEST_CASE("a subwoofer moved in time moves its onset by as much") {
  // Property: time shift by a whole number of the search's steps of 1 ms.
  const auto at = [](double delay_ms) {
    return subwoofer_onset(takes_of(subs[1], 1.0, delay_ms, rooms[1], 0.0), band)->arrival.index;
  };
  CHECK(std::abs(at(9.0) - at(4.0) - 5.0 * 48.0) < 1.0);
}

TEST_CASE("noise alone has no subwoofer") {
  for (const double rms : {1e-6, 1e-2}) {
    auto takes = takes_of(subs[0], 0.0, 2.0, {}, rms);
    CHECK(!subwoofer_onset(takes, band));
  }
}

TEST_CASE("a model begins at its sample 0") {
  // Causal but for what the tapers let ring: after the onset nearly everything, and a high-pass sums to nothing.
  for (const auto& model : subwoofer_models(band, 1'000.0)) {
    double before = 0.0;
    double all = 0.0;
    double sum = 0.0;
    for (std::size_t n = 0; n < model.size(); ++n) {
      all += model[n] * model[n];
      sum += model[n];
      if (n > model.size() / 2) before += model[n] * model[n];
    }
    CHECK(before < 0.1 * all);
    CHECK(std::abs(sum) < 1e-9);
  }
}

TEST_SUITE_END();
