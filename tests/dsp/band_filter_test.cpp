#include "ringtrue/dsp/band_filter.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <numbers>
#include <vector>

using namespace ringtrue;

TEST_SUITE_BEGIN("dsp");

TEST_CASE("tapered gain is nothing outside the band, one inside, half in the middle of a taper") {
  const Band band{Hertz{100.0}, Hertz{1'600.0}};
  CHECK(tapered_gain(99.0, band, 1.0, 1.0) == 0.0);
  CHECK(tapered_gain(1'601.0, band, 1.0, 1.0) == 0.0);
  CHECK(std::abs(tapered_gain(400.0, band, 1.0, 1.0) - 1.0) < 1e-12);
  // Half cosine in log frequency: half an octave into a one-octave taper it is 0.5 (closed form).
  CHECK(std::abs(tapered_gain(100.0 * std::numbers::sqrt2, band, 1.0, 1.0) - 0.5) < 1e-12);
  CHECK(std::abs(tapered_gain(1'600.0 / std::numbers::sqrt2, band, 1.0, 1.0) - 0.5) < 1e-12);
}

TEST_CASE("the tapers of many frequencies are those of one after the other") {
  // The second band is so narrow that its tapers overlap.
  for (const double high : {1'600.0, 150.0}) {
    const Band band{Hertz{100.0}, Hertz{high}};
    const TaperedGain gain{band, 0.5, 0.3};
    for (double f = 90.0; f < 1'700.0; f *= 1.001) {
      CAPTURE(f);
      CHECK(std::abs(gain.at(f) - tapered_gain(f, band, 0.5, 0.3)) < 1e-12);
    }
  }
}

TEST_CASE("analytic signal of a cosine is that cosine and its sine, weighted by the Hann window") {
  const std::size_t n = 480;
  const RealFft fft{n};
  std::vector<double> x(n);
  for (std::size_t i = 0; i < n; ++i) {
    x[i] = std::cos(2.0 * std::numbers::pi * 10.0 * static_cast<double>(i) / static_cast<double>(n) + 0.3);
  }
  // 1 kHz at 48 kHz in a band from 500 to 2500 Hz: a quarter of the way, Hann weight 0.5.
  const auto signal =
      hann_band_analytic(fft, spectrum(fft, std::span<const double>{x}), {Hertz{500.0}, Hertz{2'500.0}}, Hertz{48e3});
  for (std::size_t i = 0; i < n; i += 37) {
    const double phase = 2.0 * std::numbers::pi * 10.0 * static_cast<double>(i) / static_cast<double>(n) + 0.3;
    CHECK(std::abs(signal.in_phase[i] - 0.5 * std::cos(phase)) < 1e-12);
    CHECK(std::abs(signal.quadrature[i] - 0.5 * std::sin(phase)) < 1e-12);
  }
  for (const double magnitude : envelope(signal)) CHECK(std::abs(magnitude - 0.5) < 1e-12);
}

TEST_SUITE_END();
