#include "../../src/capture/speaker_model.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <complex>
#include <numbers>

namespace ringtrue {
namespace {

VirtualSpeaker wide(const std::string& model) {
  VirtualSpeaker speaker;
  speaker.model = model;
  speaker.band = {Hertz{1e-3}, Hertz{1e9}};  // the box and the top are out of the way
  return speaker;
}

double db(std::complex<double> h) { return 20.0 * std::log10(std::abs(h)); }

}  // namespace

TEST_CASE("Linkwitz-Riley sums are flat where their makers say so") {
  // Source: (LP + HP) of 4th order is the allpass (s^2 - sqrt2 s + 1) / (s^2 + sqrt2 s + 1); LP - HP of 2nd order is
  // (1 - s) / (1 + s). Both follow by multiplying out.
  for (double hz = 20.0; hz < 20'000.0; hz *= 1.3) {
    CAPTURE(hz);
    const std::complex<double> s{0.0, hz / 2'200.0};
    const double r = std::numbers::sqrt2;
    CHECK(std::abs(crossover_sum(hz, 2'200.0, 4, 1.0) - (s * s - r * s + 1.0) / (s * s + r * s + 1.0)) < 1e-12);
    CHECK(std::abs(crossover_sum(hz, 2'200.0, 2, -1.0) - (1.0 - s) / (1.0 + s)) < 1e-12);
    CHECK(std::abs(speaker_response(wide("two-way"), hz)) == doctest::Approx(1.0).epsilon(1e-6));
    CHECK(std::abs(speaker_response(wide("two-way-inverting"), hz)) == doctest::Approx(1.0).epsilon(1e-6));
  }
}

TEST_CASE("a crossover summed with the wrong sign cancels at its frequency") {
  CHECK(std::abs(crossover_sum(2'200.0, 2'200.0, 4, -1.0)) < 1e-12);
  CHECK(std::abs(crossover_sum(2'200.0, 2'200.0, 2, 1.0)) < 1e-12);
  // Source: shared/reference/method_checks.csv, lr4_pol: one octave below the crossover.
  CHECK(db(crossover_sum(1'100.0, 2'200.0, 4, -1.0)) == doctest::Approx(-1.0871532464518538).epsilon(1e-9).scale(0.0));
}

TEST_CASE("both two-way models push air with their woofers, the inverting one pulls with its tweeter") {
  // Their phase at 20 Hz and 1 MHz is about sqrt2 2 f/2200 = 0.026 and 2 f/2200 = 0.018 from the limit.
  CHECK(std::abs(speaker_response(wide("two-way"), 20.0) - 1.0) < 0.03);
  CHECK(std::abs(speaker_response(wide("two-way"), 1e6) - 1.0) < 0.02);
  CHECK(std::abs(speaker_response(wide("two-way-inverting"), 20.0) - 1.0) < 0.02);
  CHECK(std::abs(speaker_response(wide("two-way-inverting"), 1e6) + 1.0) < 0.02);
}

TEST_CASE("box and top are at half power at their corners and fall by 12 dB an octave") {
  VirtualSpeaker speaker;
  speaker.model = "full-range";
  speaker.band = {Hertz{50.0}, Hertz{20'000.0}};
  const double half_power_db = 10.0 * std::log10(0.5);
  CHECK(db(speaker_response(speaker, 50.0)) == doctest::Approx(half_power_db).epsilon(1e-4).scale(0.0));
  CHECK(db(speaker_response(speaker, 20'000.0)) == doctest::Approx(half_power_db).epsilon(1e-4).scale(0.0));
  CHECK(db(speaker_response(speaker, 1.0)) - db(speaker_response(speaker, 0.5)) ==
        doctest::Approx(12.04).epsilon(0.001));
  CHECK(std::abs(speaker_response(speaker, 0.0)) == 0.0);
  speaker.model = "sub";
  speaker.band = {Hertz{22.0}, Hertz{180.0}};
  CHECK(db(speaker_response(speaker, 180.0)) == doctest::Approx(2.0 * half_power_db).epsilon(1e-3).scale(0.0));
  CHECK(db(speaker_response(speaker, 20'000.0)) < -150.0);  // 24 dB an octave over 6.8 octaves
}

TEST_CASE("gain and crossed leads act on every model, silence on none") {
  for (const char* const model : {"two-way", "two-way-inverting", "full-range", "sub"}) {
    VirtualSpeaker speaker;
    speaker.model = model;
    const auto plain = speaker_response(speaker, 333.0);
    speaker.gain_db = 20.0;
    speaker.inverted = true;
    CHECK(std::abs(speaker_response(speaker, 333.0) + 10.0 * plain) < 1e-12);
    CHECK(is_speaker_model(model));
  }
  CHECK(std::abs(speaker_response(wide("silent"), 333.0)) == 0.0);
  CHECK_FALSE(is_speaker_model("three-way"));
}

}  // namespace ringtrue
