#include "ringtrue/stimulus/sweep.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <vector>

#include "ringtrue/core/errors.hpp"
#include "ringtrue/dsp/real_fft.hpp"

using namespace ringtrue;

namespace {

const Band wide{Hertz{20.0}, Hertz{20'000.0}};

/// Energy of a sweep between two frequencies over its whole energy, dB.
double energy_share_db(const std::vector<double>& samples, double low_hz, double high_hz) {
  const RealFft fft{good_fft_size(samples.size() * 2)};
  const auto bins = spectrum(fft, std::span<const double>{samples});
  double inside = 0.0;
  double all = 0.0;
  for (std::size_t k = 0; k < bins.size(); ++k) {
    const double f = static_cast<double>(k) * 48'000.0 / static_cast<double>(fft.size());
    all += std::norm(bins[k]);
    if (f >= low_hz && f < high_hz) inside += std::norm(bins[k]);
  }
  return 10.0 * std::log10(inside / all);
}

}  // namespace

TEST_SUITE_BEGIN("stimulus");

TEST_CASE("f1 L is a whole number of cycles") {
  // Source: method_checks.csv rows sync_L and sync_T (Novak, Lotton, Simon 2015): f1 = 20 Hz, f2 = 20 kHz, T about 10 s
  // give L = 1.45 s and T = 10.016245 s.
  const auto sweep = synchronised_sweep(wide, Seconds{10.0 / std::log(1'000.0)}, 1.0, Hertz{48'000.0});
  CHECK(std::abs(sweep.rate_constant.value() - 1.45) < 1e-12);
  CHECK(std::abs(static_cast<double>(sweep.samples.size()) / 48'000.0 - 10.016245154524098) < 1.0 / 48'000.0);
}

TEST_CASE("sweep passes through the number of half cycles its closed form predicts") {
  // f(t) = f1 exp(t/L) integrated over 0..T gives L (f2 - f1) cycles.
  for (const double f2_hz : {2'000.0, 8'000.0, 12'000.0}) {
    CAPTURE(f2_hz);
    const auto sweep = synchronised_sweep({Hertz{20.0}, Hertz{f2_hz}}, Seconds{0.3}, 1.0, Hertz{48'000.0});
    const auto& x = sweep.samples;
    CHECK(x[0] == 0.0);
    int sign_changes = 0;
    for (std::size_t n = 2; n < x.size(); ++n) sign_changes += std::signbit(x[n]) != std::signbit(x[n - 1]);
    const double half_cycles = 2.0 * sweep.rate_constant.value() * (f2_hz - 20.0);
    CHECK(std::abs(sign_changes - std::floor(half_cycles)) <= 2.0);  // the last half cycles are faded to nothing
  }
}

TEST_CASE("the second harmonic of a sweep is the sweep itself, L ln 2 earlier") {
  // Source: Novak, Lotton, Simon 2015: with f1 L whole, sin(2 phase(t)) = sin(phase(t + L ln 2)).
  // L ln 2 fs is made a whole number of samples so that both sides can be compared sample by sample:
  // L = 4800 / (48000 ln 2) and f1 = 30 / L.
  const double L = 0.1 / std::numbers::ln2;
  const auto sweep = synchronised_sweep({Hertz{30.0 / L}, Hertz{12'000.0}}, Seconds{L}, 1.0, Hertz{48'000.0});
  REQUIRE(std::abs(sweep.rate_constant.value() - L) < 1e-12);
  const auto phase_of = [&](std::size_t n) {
    return 2.0 * std::numbers::pi * 30.0 * std::exp(static_cast<double>(n) / 48'000.0 / L);
  };
  // Away from the fades the samples are sin(phase); their doubled phase must be the later samples.
  for (std::size_t n = 6'000; n < 20'000; n += 111) {
    REQUIRE(std::abs(sweep.samples[n] - std::sin(phase_of(n))) < 1e-9);
    CHECK(std::abs(std::sin(2.0 * phase_of(n)) - sweep.samples[n + 4'800]) < 1e-6);
  }
}

TEST_CASE("nothing is driven outside the band") {
  // What a tweeter must be spared. Limits: -50 dB an eighth octave outside, -70 dB an octave outside, of a sweep that
  // spends 3.3 octaves inside; ours.
  const auto sweep = synchronised_sweep({Hertz{500.0}, Hertz{5'000.0}}, Seconds{0.32}, 0.125, Hertz{48'000.0});
  CHECK(energy_share_db(sweep.samples, 500.0, 5'000.0) > -0.01);
  CHECK(energy_share_db(sweep.samples, 0.0, 500.0 / 1.09) < -50.0);
  CHECK(energy_share_db(sweep.samples, 5'000.0 * 1.09, 24'000.0) < -50.0);
  CHECK(energy_share_db(sweep.samples, 0.0, 250.0) < -70.0);
  CHECK(energy_share_db(sweep.samples, 10'000.0, 24'000.0) < -70.0);
}

TEST_CASE("peak is the level asked for and the edges do not click") {
  const auto sweep = synchronised_sweep({Hertz{50.0}, Hertz{20'000.0}}, Seconds{0.32}, 0.125, Hertz{48'000.0});
  const auto [low, high] = std::ranges::minmax(sweep.samples);
  CHECK(high <= 0.125);
  CHECK(high > 0.1249);
  CHECK(low >= -0.125);
  CHECK(std::abs(sweep.samples.front()) == 0.0);
  CHECK(std::abs(sweep.samples.back()) < 1e-6);
}

TEST_CASE("bands that cannot be swept are refused with their values") {
  CHECK_THROWS_WITH_AS((void)synchronised_sweep({Hertz{200.0}, Hertz{100.0}}, Seconds{1.0}, 1.0, Hertz{48'000.0}),
                       "sweep: band 200.000000-100.000000 Hz does not fit; use 0 < low < high <= half the sample rate",
                       InvalidInput);
  CHECK_THROWS_AS((void)synchronised_sweep({Hertz{20.0}, Hertz{25'000.0}}, Seconds{1.0}, 1.0, Hertz{48'000.0}),
                  InvalidInput);
  CHECK_THROWS_AS((void)synchronised_sweep({Hertz{0.0}, Hertz{20'000.0}}, Seconds{1.0}, 1.0, Hertz{48'000.0}),
                  InvalidInput);
}

TEST_SUITE_END();
