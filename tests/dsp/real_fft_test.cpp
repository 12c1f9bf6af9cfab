#include "ringtrue/dsp/real_fft.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <complex>
#include <numbers>
#include <random>
#include <vector>

#include "arrays.hpp"
#include "ringtrue/core/parallel.hpp"

using namespace ringtrue;
using test::worst_difference;

namespace {

std::vector<double> noise(std::size_t n, unsigned seed) {
  std::mt19937_64 generator{seed};
  std::vector<double> x(n);
  for (double& sample : x) sample = static_cast<double>(generator() >> 11) * 0x1.0p-52 - 1.0;
  return x;
}

bool only_small_factors(std::size_t n) {
  for (const std::size_t factor : {2U, 3U, 5U}) {
    while (n % factor == 0) n /= factor;
  }
  return n == 1;
}

}  // namespace

TEST_SUITE_BEGIN("dsp");

TEST_CASE("good_fft_size is 2^a or 3 2^a up to 32768, then 512 2^a 3^b 5^c, and the smallest of these") {
  const auto is_power = [](std::size_t n) { return n >= 2 && (n & (n - 1)) == 0; };
  const auto is_good = [&](std::size_t n) {
    return n <= 32'768 ? is_power(n) || (n % 3 == 0 && is_power(n / 3)) : n % 512 == 0 && only_small_factors(n);
  };
  std::size_t expected = 2;
  for (std::size_t wanted = 1; wanted < 200'000; ++wanted) {
    while (expected < wanted || !is_good(expected)) ++expected;
    REQUIRE(good_fft_size(wanted) == expected);
  }
}

TEST_CASE("forward transform is the sum that defines it") {
  for (const std::size_t n : {2U, 10U, 30U, 64U}) {
    const auto x = noise(n, 1);
    const RealFft fft{n};
    const auto bins = spectrum(fft, std::span<const double>{x});
    for (std::size_t k = 0; k < bins.size(); ++k) {
      std::complex<double> sum;
      for (std::size_t m = 0; m < n; ++m) {
        sum +=
            x[m] * std::polar(1.0, -2.0 * std::numbers::pi * static_cast<double>(k * m % n) / static_cast<double>(n));
      }
      CHECK(std::abs(bins[k] - sum) < 1e-12);
    }
  }
}

TEST_CASE("inverse of forward gives the samples back, aligned or not") {
  const RealFft fft{4'050};
  auto x = noise(4'051, 2);
  for (const std::size_t shift : {0U, 1U}) {  // a shift by one double breaks 16-byte alignment
    const std::span<const double> view = std::span{x}.subspan(shift, 4'050);
    std::vector<std::complex<double>> bins(fft.bin_count());
    std::vector<double> back(4'051);
    fft.forward(view, bins);
    fft.inverse(bins, std::span{back}.subspan(shift, 4'050));
    CHECK(worst_difference(view, std::span{back}.subspan(shift, 4'050)).difference < 1e-14);
  }
}

TEST_CASE("energy in time and in frequency agree (Parseval)") {
  const RealFft fft{1'000};
  const auto x = noise(1'000, 3);
  const auto bins = spectrum(fft, std::span<const double>{x});
  double time = 0.0;
  for (const double sample : x) time += sample * sample;
  double frequency = std::norm(bins.front()) + std::norm(bins.back());
  for (std::size_t k = 1; k + 1 < bins.size(); ++k) frequency += 2.0 * std::norm(bins[k]);
  CHECK(std::abs(frequency / 1'000.0 / time - 1.0) < 1e-13);
}

TEST_CASE("plans made and used on many threads give the same bytes") {
  const auto x = noise(2'160, 4);
  const RealFft reference{2'160};
  const auto expected = spectrum(reference, std::span<const double>{x});
  std::vector<int> same(40);
  parallel_for(same.size(), 8, [&](std::size_t i) {
    const RealFft own{2'160};
    same[i] = spectrum(i % 2 == 0 ? own : reference, std::span<const double>{x}) == expected;
  });
  CHECK(same == std::vector<int>(40, 1));
}

TEST_CASE("transforms outlive the plans kept for their sizes") {
  // More samples in all than are kept (2^21), each size made anew on several threads while others push it out.
  const std::vector<std::size_t> sizes{360'000, 384'000, 400'000, 405'000, 432'000, 450'000, 480'000, 2'400'000};
  const auto x = noise(1'000, 5);
  const auto round_trip = [&](const RealFft& fft) {
    auto bins = spectrum(fft, std::span<const double>{x});
    std::vector<double> back(fft.size());
    fft.inverse(bins, back);
    return back;
  };
  std::vector<std::vector<double>> expected;
  std::vector<RealFft> kept;
  for (const std::size_t n : sizes) expected.push_back(round_trip(kept.emplace_back(n)));
  std::vector<int> same(2 * sizes.size());
  parallel_for(same.size(), 4, [&](std::size_t i) {
    const std::size_t which = i % sizes.size();
    same[i] = round_trip(RealFft{sizes[which]}) == expected[which] && round_trip(kept[which]) == expected[which];
  });
  CHECK(same == std::vector<int>(same.size(), 1));
}

TEST_SUITE_END();
