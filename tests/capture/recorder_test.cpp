#include "../../src/capture/recorder.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <numbers>

#include "../../src/capture/sinc_kernel.hpp"

namespace ringtrue {
namespace {

std::vector<double> tone(double cycles_per_sample, std::size_t count) {
  std::vector<double> samples(count);
  for (std::size_t n = 0; n < count; ++n) {
    samples[n] = std::sin(2.0 * std::numbers::pi * cycles_per_sample * static_cast<double>(n));
  }
  return samples;
}

/// Largest difference, in dB re the tone, between the recorder's samples and the closed form at its places; the first
/// and last 300 places, where the tone begins and ends, left out.
double error_db(double cycles_per_sample, double first, double step) {
  const auto count = static_cast<std::size_t>(200'000.0 / step);
  const auto samples = sample_at(tone(cycles_per_sample, 220'000), first, step, count, 2);
  double worst = 0.0;
  for (std::size_t n = 300; n + 300 < count; ++n) {
    const double place = first + step * static_cast<double>(n);
    const double expected = std::sin(2.0 * std::numbers::pi * std::fmod(cycles_per_sample * place, 1.0));
    worst = std::max(worst, std::abs(samples[n] - expected));
  }
  return 20.0 * std::log10(worst);
}

double peak_db(const std::vector<double>& samples, std::size_t margin) {
  double peak = 0.0;
  for (std::size_t n = margin; n + margin < samples.size(); ++n) peak = std::max(peak, std::abs(samples[n]));
  return 20.0 * std::log10(peak);
}

}  // namespace

TEST_CASE("a recorder on the player's clock, whole frames late, copies") {
  const std::vector<double> line{1.0, 2.0, 3.0};
  CHECK(sample_at(line, -2.0, 1.0, 6, 1) == std::vector<double>{0.0, 0.0, 1.0, 2.0, 3.0, 0.0});
  CHECK(sample_at(line, 2.0, 1.0, 2, 1) == std::vector<double>{3.0, 0.0});
}

TEST_CASE("a clock that is off, or a start between samples, follows the closed form to -100 dB") {
  for (const double ppm : {-200.0, -3.0, 0.0, 150.0, 10'000.0}) {
    for (const double cycles : {0.0005, 0.1, 0.25, 0.4, 0.44}) {
      CAPTURE(ppm);
      CAPTURE(cycles);
      CHECK(error_db(cycles, 100.37, 1.0 / (1.0 + 1e-6 * ppm)) < -100.0);
    }
  }
}

TEST_CASE("another sample rate follows the closed form to -100 dB and folds nothing back") {
  struct Rates {
    double from_hz;
    double to_hz;
    double highest_hz;  // 0.45 of the lower rate
  };
  for (const Rates& r : {Rates{48'000.0, 44'100.0, 19'845.0}, Rates{44'100.0, 48'000.0, 19'845.0},
                         Rates{96'000.0, 44'100.0, 19'845.0}, Rates{48'000.0, 192'000.0, 21'120.0}}) {
    CAPTURE(r.from_hz);
    CAPTURE(r.to_hz);
    const double highest = r.to_hz > r.from_hz ? 0.44 * r.from_hz : r.highest_hz;
    for (const double hz : {20.0, 1'000.0, 15'000.0, highest}) {
      CAPTURE(hz);
      CHECK(error_db(hz / r.from_hz, 70.5, r.from_hz / r.to_hz) < -100.0);
    }
  }
  const auto too_high = sample_at(tone(23'950.0 / 48'000.0, 100'000), 0.0, 48'000.0 / 44'100.0, 90'000, 2);
  CHECK(peak_db(too_high, 300) < -100.0);
}

TEST_CASE("the recorder gives the same bytes on any number of threads") {
  const auto line = tone(0.123, 300'000);
  const auto one = sample_at(line, 0.25, 1.00001, 290'000, 1);
  CHECK(one == sample_at(line, 0.25, 1.00001, 290'000, 2));
  CHECK(one == sample_at(line, 0.25, 1.00001, 290'000, 5));
}

TEST_CASE("kernel weights sum to one and hit samples exactly") {
  const SincKernel kernel{32, 90.0, 0.5, 512};
  for (const std::size_t fraction : {0U, 1U, 256U, 511U, 512U}) {
    double sum = 0.0;
    for (const double weight : kernel.weights(fraction)) sum += weight;
    CHECK(sum == doctest::Approx(1.0).epsilon(1e-14));
  }
  CHECK(kernel.weights(0)[15] == doctest::Approx(1.0).epsilon(1e-12));    // sample n itself
  CHECK(kernel.weights(512)[16] == doctest::Approx(1.0).epsilon(1e-12));  // sample n + 1
  CHECK(kernel.weights(256)[15] == doctest::Approx(kernel.weights(256)[16]).epsilon(1e-12));
}

}  // namespace ringtrue
