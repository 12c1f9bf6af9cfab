#include "../../src/capture/image_source.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <numbers>

#include "../../src/capture/speaker_sound.hpp"
#include "ringtrue/dsp/band_filter.hpp"
#include "sample_rate.hpp"

namespace ringtrue {
namespace {

using Complex = std::complex<double>;

using ringtrue::test::rate_hz;
constexpr double c = 343.2;  // m/s

Shoebox box(Point size, double absorption) {
  Shoebox room{size, {}, c};
  room.absorption.fill(absorption);
  return room;
}

Complex path(double hz, double metres, double loss) {
  return std::polar(1.0 / metres, -2.0 * std::numbers::pi * hz * metres / c) * std::exp(-loss * wall_loss(hz));
}

/// Transfer function at a bin, the lead taken back.
Complex at_bin(const ImageSources& images, const std::vector<Complex>& bins, std::size_t k) {
  const double turns = static_cast<double>(k) * static_cast<double>(ImageSources::lead_frames()) /
                       static_cast<double>(images.fft().size());
  return bins[k] * std::polar(1.0, 2.0 * std::numbers::pi * std::fmod(turns, 1.0));
}

double bin_hz(const ImageSources& images, std::size_t k) {
  return static_cast<double>(k) * rate_hz / static_cast<double>(images.fft().size());
}

/// The slow twin: image after image as Allen and Berkley write the sum (their equation 11), all of it in the frequency
/// domain.
struct SlowSum {
  Complex value;
  double magnitudes = 0.0;  // of the images without regard to phase
};

SlowSum slow_sum(const Shoebox& room, Point source, Point microphone, double hz, int most) {
  SlowSum sum;
  const auto k = [&](std::size_t wall) { return -0.5 * std::log1p(-room.absorption[wall]); };
  for (int n = -most; n <= most; ++n) {
    for (int l = -most; l <= most; ++l) {
      for (int m = -most; m <= most; ++m) {
        for (int bits = 0; bits < 8; ++bits) {
          const int q = bits & 1;
          const int j = (bits >> 1) & 1;
          const int p = bits >> 2;
          const Point image{(1 - 2 * q) * source.x + 2 * n * room.size_m.x,
                            (1 - 2 * j) * source.y + 2 * l * room.size_m.y,
                            (1 - 2 * p) * source.z + 2 * m * room.size_m.z};
          const double loss = std::abs(n - q) * k(0) + std::abs(n) * k(1) + std::abs(l - j) * k(2) +
                              std::abs(l) * k(3) + std::abs(m - p) * k(4) + std::abs(m) * k(5);
          const Complex one = path(hz, distance_m(image, microphone), loss);
          sum.value += one;
          sum.magnitudes += std::abs(one);
        }
      }
    }
  }
  return sum;
}

/// Decay time from the backward-integrated energy between -5 and -25 dB, by its end points.
double decay_time_s(std::vector<double> response) {
  response.resize(response.size() - 24'000);  // a zero-phase filter also rings before time 0, which is at the end
  std::vector<double> energy(response.size() + 1);
  for (std::size_t n = response.size(); n-- > 0;) energy[n] = energy[n + 1] + response[n] * response[n];
  std::size_t at_5 = 0;
  std::size_t at_25 = 0;
  while (energy[at_5] > energy[0] * std::pow(10.0, -0.5)) ++at_5;
  while (energy[at_25] > energy[0] * std::pow(10.0, -2.5)) ++at_25;
  return 3.0 * static_cast<double>(at_25 - at_5) / rate_hz;
}

}  // namespace

TEST_CASE("direct sound arrives after its distance, 1/r loud, to a thousandth of a sample") {
  // 2 m right, 3 m front, 6 m up: 7 m. With everything absorbed nothing else arrives.
  const ImageSources images{box({10.0, 10.0, 10.0}, 1.0), rate_hz, 0.1};
  const auto bins = images.response({5.0, 6.0, 8.0}, {3.0, 3.0, 2.0});
  for (std::size_t k = 1; k < bins.size() - 1; k += 97) {
    CAPTURE(bin_hz(images, k));
    CHECK(std::abs(at_bin(images, bins, k) - path(bin_hz(images, k), 7.0, 0.0)) < 1e-9);
  }
}

TEST_CASE("a reflecting floor adds one image by hand-worked distance, damped as the wall says") {
  // Source and microphone 4 m apart on the level, 1.5 m above the floor: the image is 3 m lower, at 5 m.
  Shoebox room = box({10.0, 10.0, 10.0}, 1.0);
  room.absorption[4] = 0.3;
  const ImageSources images{room, rate_hz, 0.1};
  const auto bins = images.response({3.0, 5.0, 1.5}, {7.0, 5.0, 1.5});
  const double k_floor = -0.5 * std::log(0.7);
  for (std::size_t k = 1; k < bins.size() - 1; k += 97) {
    const double hz = bin_hz(images, k);
    CAPTURE(hz);
    const Complex expected = path(hz, 4.0, 0.0) + path(hz, 5.0, k_floor);
    CHECK(std::abs(at_bin(images, bins, k) - expected) < 0.005 / 5.0);  // the stated 0.4 % of the reflection
  }
}

TEST_CASE("a wall's loss is what its absorption says at 1 kHz, less below, more above, and causal") {
  CHECK(wall_loss(0.0).real() == doctest::Approx(0.65));
  CHECK(wall_loss(1'000.0).real() == doctest::Approx(1.0));
  CHECK(wall_loss(1e6).real() == doctest::Approx(1.35).epsilon(1e-4));
  // exp(-k G) is minimum phase: G is analytic in the right half plane, so its value inside is the mean over the circle.
  const auto G = [](Complex s) { return 0.65 + 0.7 * s / (1.0 + s); };
  CHECK(std::abs(wall_loss(2'000.0) - G(Complex{0.0, 2.0})) < 1e-12);
}

TEST_CASE("the fast sum equals the slow one, image by image, up to 0.4 of the sample rate") {
  // Dead walls, so that a few orders hold everything; sizes and places without symmetry.
  Shoebox room{{4.4, 5.2, 2.6}, {0.93, 0.95, 0.94, 0.92, 0.96, 0.93}, c};
  const Point source{1.13, 4.07, 1.21};
  const Point microphone{2.31, 2.45, 1.17};
  const ImageSources images{room, rate_hz, 0.1};
  const auto bins = images.response(source, microphone);
  for (std::size_t k = 5; bin_hz(images, k) < 0.4 * rate_hz; k += 211) {
    const double hz = bin_hz(images, k);
    CAPTURE(hz);
    // Interpolation over the losses: 0.4 % of each reflection; images beyond the second, 20 m away, have lost 60 dB.
    const SlowSum expected = slow_sum(room, source, microphone, hz, 2);
    const double reflections = expected.magnitudes - 1.0 / distance_m(source, microphone);
    CHECK(std::abs(at_bin(images, bins, k) - expected.value) < 0.004 * reflections + 1e-4);
  }
}

TEST_CASE("reverberation time and absorption follow Eyring") {
  // 5.2 x 4.4 x 2.6 m: V = 59.488 m3, S = 95.68 m2; 24 ln10 V / (c S) = 0.1001124 s; -ln(0.7) = 0.3566749.
  const Shoebox room = box({4.4, 5.2, 2.6}, 0.3);
  CHECK(eyring_time_s(room) == doctest::Approx(0.1001124 / 0.3566749).epsilon(1e-5));
  CHECK(eyring_absorption(room, eyring_time_s(room)) == doctest::Approx(0.3).epsilon(1e-12));
  CHECK(eyring_time_s(box({4.4, 5.2, 2.6}, 1.0)) == 0.0);
}

TEST_CASE("the simulated decay is Eyring's or somewhat longer, and bass lasts longer than treble") {
  // Image sources in a box decay slower than Eyring's diffuse field, since paths along the long axes meet fewer walls:
  // docs/virtual-room.md states what was found.
  for (const double absorption : {0.15, 0.3}) {
    CAPTURE(absorption);
    const Shoebox room = box({4.4, 5.2, 2.6}, absorption);
    const ImageSources images{room, rate_hz, 1.0};
    const auto bins = images.response({1.13, 4.07, 1.21}, {2.31, 2.45, 1.17});
    const auto decay = [&](double hz) {
      return decay_time_s(
          tapered_band(images.fft(), bins, {Hertz{hz / 1.5}, Hertz{hz * 1.5}}, 0.2, 0.2, Hertz{rate_hz}));
    };
    MESSAGE("Eyring " << eyring_time_s(room) << " s; 250 Hz " << decay(250.0) << ", 1 kHz " << decay(1'000.0)
                      << ", 8 kHz " << decay(8'000.0));
    CHECK(decay(1'000.0) / eyring_time_s(room) > 0.95);
    CHECK(decay(1'000.0) / eyring_time_s(room) < 1.6);
    CHECK(decay(250.0) > 1.15 * decay(1'000.0));
    CHECK(decay(8'000.0) < 0.9 * decay(1'000.0));
  }
}

TEST_CASE("hard walls are summed up to the nearest 400 000 images, which fade out") {
  const ImageSources images{box({4.4, 5.2, 2.6}, 0.01), rate_hz, 0.1};
  // A sphere of 400 000 rooms of 59.488 m3 has a radius of 178.5 m: 0.520 s.
  CHECK(static_cast<double>(images.fft().size()) / rate_hz < 0.7);
  auto bins = images.response({1.13, 4.07, 1.21}, {2.31, 2.45, 1.17});
  std::vector<double> response(images.fft().size());
  images.fft().inverse(bins, response);
  const auto energy = [&](double from_s, double to_s) {
    double sum = 0.0;
    for (auto n = static_cast<std::size_t>(from_s * rate_hz); n < static_cast<std::size_t>(to_s * rate_hz); ++n) {
      sum += response[n] * response[n];
    }
    return sum;
  };
  CHECK(energy(0.45, 0.46) > 0.0);
  CHECK(energy(0.51, 0.52) < 0.05 * energy(0.45, 0.46));
  CHECK(energy(0.53, 0.60) < 1e-6 * energy(0.45, 0.46));
}

}  // namespace ringtrue
