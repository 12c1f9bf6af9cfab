#include "../../src/capture/noise.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <complex>
#include <numbers>
#include <vector>

namespace ringtrue {
namespace {

double rms_db(const std::vector<double>& signal) {
  double energy = 0.0;
  for (const double x : signal) energy += x * x;
  return 10.0 * std::log10(energy / static_cast<double>(signal.size()));
}

double correlation(const std::vector<double>& a, const std::vector<double>& b, std::size_t lag) {
  double sum = 0.0;
  for (std::size_t n = lag; n < a.size(); ++n) sum += a[n] * b[n - lag];
  return sum / static_cast<double>(a.size());
}

/// Amplitude of the component at a frequency, by one Fourier sum over whole periods.
double amplitude(const std::vector<double>& signal, double hz, double rate_hz) {
  std::complex<double> sum;
  for (std::size_t n = 0; n < signal.size(); ++n) {
    sum += signal[n] * std::polar(1.0, -2.0 * std::numbers::pi * std::fmod(hz / rate_hz * static_cast<double>(n), 1.0));
  }
  return 2.0 * std::abs(sum) / static_cast<double>(signal.size());
}

std::vector<double> noise(std::size_t count, std::uint64_t seed, unsigned threads = 1) {
  std::vector<double> signal(count);
  add_white_noise(signal, 1.0, seed, threads);
  return signal;
}

}  // namespace

TEST_CASE("white noise is Gaussian, white and of the rms asked for") {
  constexpr std::size_t count = 2'000'000;
  const auto signal = noise(count, 1);
  const double sigma = 1.0 / std::sqrt(static_cast<double>(count));  // of a mean of unit-variance numbers
  CHECK(std::abs(rms_db(signal)) < 5.0 * 10.0 / std::numbers::ln10 * std::numbers::sqrt2 * sigma);
  double mean = 0.0;
  double fourth = 0.0;
  for (const double x : signal) {
    mean += x / static_cast<double>(count);
    fourth += x * x * x * x / static_cast<double>(count);
  }
  CHECK(std::abs(mean) < 5.0 * sigma);
  CHECK(std::abs(fourth - 3.0) < 5.0 * std::sqrt(96.0) * sigma);  // Gaussian: E x^4 = 3, variance of x^4 = 105 - 9
  for (const std::size_t lag : {1U, 2U, 3U, 65'536U}) {           // the last: blocks do not repeat
    CAPTURE(lag);
    CHECK(std::abs(correlation(signal, signal, lag)) < 5.0 * sigma);
  }
}

TEST_CASE("noise follows its seed, not the threads") {
  const auto signal = noise(200'001, 7);
  CHECK(signal == noise(200'001, 7, 2));
  CHECK(signal == noise(200'001, 7, 5));
  const double sigma = 1.0 / std::sqrt(200'001.0);
  CHECK(std::abs(correlation(signal, noise(200'001, 8), 0)) < 5.0 * sigma);
  CHECK(stream_seed(1, 0) != stream_seed(0, 1));
}

TEST_CASE("noise is added to what is there") {
  std::vector<double> signal(1'000, 5.0);
  add_white_noise(signal, 0.0, 1, 1);
  add_hum(signal, 0.0, 48'000.0);
  add_rumble(signal, 0.0, 48'000.0, 1, 1);
  CHECK(signal == std::vector<double>(1'000, 5.0));
}

TEST_CASE("hum has the rms asked for, in lines at multiples of 50 Hz only") {
  std::vector<double> signal(480'000);  // 500 whole periods
  add_hum(signal, 0.01, 48'000.0);
  CHECK(rms_db(signal) == doctest::Approx(-40.0).epsilon(1e-6).scale(0.0));
  double power = 0.0;
  for (double hz = 50.0; hz <= 350.0; hz += 50.0) {
    const double a = amplitude(signal, hz, 48'000.0);
    CHECK(a > 1e-4);
    power += 0.5 * a * a;
  }
  CHECK(10.0 * std::log10(power) == doctest::Approx(-40.0).epsilon(1e-6).scale(0.0));
  CHECK(amplitude(signal, 75.0, 48'000.0) < 1e-9);
}

TEST_CASE("rumble has the rms asked for and lies below 100 Hz") {
  std::vector<double> signal(960'000);
  add_rumble(signal, 0.001, 48'000.0, 3, 2);
  CHECK(rms_db(signal) == doctest::Approx(-60.0).epsilon(1e-6).scale(0.0));
  double before = 0.0;
  double above = 0.0;  // a first difference weighs frequencies by (2 pi f / fs)^2
  for (const double x : signal) {
    above += (x - before) * (x - before);
    before = x;
  }
  // |H|^2 = 1 / (1 + (f/50)^8): the mean of f^2 under it is 50^2 B(3/8, 5/8) / B(1/8, 7/8) = 50^2 sin(pi/8) /
  // sin(3 pi/8), a frequency of 32.2 Hz.
  const double mean_hz = std::sqrt(above / 960'000.0) / 0.001 * 48'000.0 / (2.0 * std::numbers::pi);
  CHECK(mean_hz ==
        doctest::Approx(50.0 * std::sqrt(std::sin(std::numbers::pi / 8) / std::sin(3 * std::numbers::pi / 8)))
            .epsilon(0.03)
            .scale(0.0));
}

}  // namespace ringtrue
