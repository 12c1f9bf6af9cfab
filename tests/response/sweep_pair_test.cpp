#include "ringtrue/response/sweep_pair.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <vector>

#include "response/simulated.hpp"
#include "ringtrue/stimulus/sweep.hpp"
#include "sample_rate.hpp"

using namespace ringtrue;
using ringtrue::test::rate_hz;

namespace {

std::vector<float> noise_of(std::size_t frames, std::uint64_t seed) {
  test::Noise noise{seed};
  std::vector<float> sound(frames);
  for (float& x : sound) x = static_cast<float>(noise.next());
  return sound;
}

}  // namespace

TEST_SUITE_BEGIN("response");

TEST_CASE("energies of blocks are those of second differences, summed as they are written") {
  const auto sound = noise_of(1'000, 3);
  constexpr std::size_t block = 96;  // ten whole ones
  const auto treble = treble_energies(sound, block);
  REQUIRE(treble.size() == 10);
  const auto at = [&](std::size_t n, std::size_t back) { return static_cast<double>(sound[n < back ? 0 : n - back]); };
  for (std::size_t b = 0; b < treble.size(); ++b) {
    CAPTURE(b);
    double second = 0.0;
    for (std::size_t n = b * block; n < (b + 1) * block; ++n) {
      second += std::pow(at(n, 0) - 2.0 * at(n, 1) + at(n, 2), 2.0);
    }
    CHECK(treble[b] == doctest::Approx(second).epsilon(1e-5));  // a hundred squares in single precision
  }
}

TEST_CASE("what differs between two takes is that of their samples, also beyond the recording's ends") {
  // Reference: the three filters written out, frames outside counted as silence, what comes before the first sample as
  // that one.
  const SweepShape sweep = synchronised_sweep({Hertz{20.0}, Hertz{22'000.0}}, Seconds{0.3}, 0.125, Hertz{rate_hz});
  const Deconvolver deconvolver{sweep, rate_hz, rate_hz, {0.02, 0.1}};
  const auto recording = noise_of(60'000, 5);
  constexpr double first_zero = 0.0;  // its stretch begins before the recording
  constexpr double second_zero = 50'000.0;
  const auto found = respond(deconvolver, recording, first_zero, second_zero, rate_hz).disturbance;

  const auto before = static_cast<std::ptrdiff_t>(deconvolver.zero_index());
  const auto heard = [&](std::ptrdiff_t n) {
    return n >= 0 && n < std::ssize(recording) ? static_cast<double>(recording[static_cast<std::size_t>(n)]) : 0.0;
  };
  const auto apart = [&](std::ptrdiff_t n) {
    const std::ptrdiff_t from_first = std::max<std::ptrdiff_t>(n, 0);
    return heard(from_first - before) - heard(from_first - before + static_cast<std::ptrdiff_t>(second_zero));
  };
  constexpr std::ptrdiff_t block = 1'024;
  constexpr std::ptrdiff_t width = 64;
  REQUIRE(found.loudness.size() == deconvolver.frames_needed() / block);
  for (std::ptrdiff_t b = 0; b < std::ssize(found.loudness); ++b) {
    CAPTURE(b);
    std::array<double, 3> energy{};
    for (std::ptrdiff_t n = b * block; n < (b + 1) * block; ++n) {
      energy[0] += std::pow(apart(n) - 2.0 * apart(n - 1) + apart(n - 2), 2.0);
      energy[1] += std::pow(apart(n) - apart(n - 1), 2.0);
      energy[2] += std::pow((apart(n) - apart(n - width)) / static_cast<double>(width), 2.0);
    }
    for (std::size_t filter = 0; filter < energy.size(); ++filter) {
      CAPTURE(filter);
      CHECK(found.energies[filter][static_cast<std::size_t>(b)] ==
            doctest::Approx(energy[filter]).epsilon(1e-4));  // a thousand
    }
  }
}

TEST_SUITE_END();
