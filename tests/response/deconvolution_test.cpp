#include "ringtrue/response/deconvolution.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <vector>

#include "response/simulated.hpp"
#include "ringtrue/stimulus/sweep.hpp"
#include "sample_rate.hpp"

using namespace ringtrue;
using test::db;

namespace {

using ringtrue::test::rate_hz;

SweepShape full_sweep() {
  return synchronised_sweep({Hertz{20.0}, Hertz{22'000.0}}, Seconds{0.3}, 0.125, Hertz{rate_hz});
}

std::vector<float> as_float(const std::vector<double>& x) { return {x.begin(), x.end()}; }

double peak(std::span<const double> h, std::size_t from, std::size_t to) {
  double highest = 0.0;
  for (std::size_t n = from; n < to; ++n) highest = std::max(highest, std::abs(h[n]));
  return highest;
}

}  // namespace

TEST_SUITE_BEGIN("response");

TEST_CASE("the response to a delayed impulse is that impulse, in its place and size") {
  const SweepShape sweep = full_sweep();
  const Deconvolver deconvolver{sweep, rate_hz, rate_hz, {0.02, 0.1}};
  const auto recording = as_float(test::convolve(sweep.samples, test::impulse(480.0, 0.25, 1'500)));
  const auto h = deconvolver.response(recording, 0.0);
  const auto top = static_cast<std::size_t>(std::ranges::max_element(h) - h.begin());
  CHECK(top == deconvolver.zero_index() + 480);
  // The sweep is flat from 28 Hz to 20.2 kHz of 24 kHz: the band-limited impulse keeps 0.84-0.92 of its height.
  CHECK(h[top] > 0.25 * 0.84);
  CHECK(h[top] < 0.25 * 0.92);
}

TEST_CASE("moving the zero by a fraction of a frame moves the response by as much") {
  // Property: shift theorem. A tone-free check: the fraction moves the group delay measured by the phase slope.
  const SweepShape sweep = full_sweep();
  const Deconvolver deconvolver{sweep, rate_hz, rate_hz, {0.02, 0.1}};
  const auto recording = as_float(test::convolve(sweep.samples, test::impulse(500.0, 1.0, 1'500)));
  const auto whole = deconvolver.response(recording, 0.0);
  const auto moved = deconvolver.response(recording, 0.37);
  const RealFft fft{whole.size() + whole.size() % 2};
  const auto a = spectrum(fft, std::span<const double>{whole});
  const auto b = spectrum(fft, std::span<const double>{moved});
  for (const double f : {200.0, 2'000.0, 10'000.0}) {
    const auto k = static_cast<std::size_t>(f / rate_hz * static_cast<double>(fft.size()));
    const double w = 2.0 * std::numbers::pi * static_cast<double>(k) / static_cast<double>(fft.size());
    const double phase = std::remainder(std::arg(b[k] * std::conj(a[k])) - 0.37 * w, 2.0 * std::numbers::pi);
    CHECK(std::abs(phase) < 1e-4);
  }
}

TEST_CASE("second and third harmonic stay out of the response") {
  // x + 0.05 x^2 / a + 0.02 x^3 / a^2 gives harmonics at -32 and -46 dB; they fall L ln 2 and L ln 3 early (Farina
  // 2000).
  const SweepShape sweep = full_sweep();
  const Deconvolver deconvolver{sweep, rate_hz, rate_hz, {0.02, 0.1}};
  const double a = 0.125;
  std::vector<double> distorted(sweep.samples.size() + 10'000);
  for (std::size_t n = 0; n < sweep.samples.size(); ++n) {
    const double x = sweep.samples[n];
    distorted[n] = x + 0.05 * x * x / a + 0.02 * x * x * x / (a * a);
  }
  // The cube also plays 3/4 0.02 of the sweep itself; that share is no harmonic.
  auto h = deconvolver.response(as_float(distorted), 0.0);
  const auto clean = deconvolver.response(as_float(sweep.samples), 0.0);
  const double main = peak(h, deconvolver.zero_index() - 2, deconvolver.zero_index() + 3);
  for (std::size_t n = 0; n < h.size(); ++n) h[n] -= 1.015 * clean[n];
  // Away from the impulse (whose fades the cube changes) nothing is left above -70 dB.
  CHECK(db(peak(h, 0, deconvolver.zero_index() - 480) / main) < -70.0);
  CHECK(db(peak(h, deconvolver.zero_index() + 2'400, h.size()) / main) < -70.0);
}

TEST_CASE("a recorder on another clock and rate gives the same response") {
  // The recording is converted by libsoxr, the deconvolver converts the sweep instead: two different ways to one
  // result.
  const SweepShape sweep = full_sweep();
  const double other_hz = 44'100.0 * (1.0 + 150e-6);
  std::vector<double> played = test::convolve(sweep.samples, test::impulse(480.0, 0.5, 1'500));
  played.resize(played.size() + 20'000);
  const auto recording = as_float(resample(played, rate_hz, other_hz));
  const Deconvolver deconvolver{sweep, rate_hz, other_hz, {0.02, 0.1}};
  const auto h = deconvolver.response(recording, 0.0);
  // Compare in time: the impulse is at 10 ms of the player.
  const auto top = static_cast<double>(std::ranges::max_element(h) - h.begin());
  CHECK(std::abs((top - static_cast<double>(deconvolver.zero_index())) / other_hz - 0.010) < 0.6 / other_hz);
}

TEST_CASE("frames outside the recording count as silence") {
  const SweepShape sweep = full_sweep();
  const Deconvolver deconvolver{sweep, rate_hz, rate_hz, {0.02, 0.1}};
  const std::vector<float> nothing(100);
  for (const double zero : {-1e6, 0.0, 1e6})
    CHECK(peak(deconvolver.response(nothing, zero), 0, deconvolver.length()) == 0.0);
}

TEST_SUITE_END();
