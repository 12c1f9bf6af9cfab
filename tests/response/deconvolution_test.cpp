#include "ringtrue/response/deconvolution.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <complex>
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
  const auto h = test::in_double(deconvolver.response(recording, 0.0));
  const auto top = static_cast<std::size_t>(std::ranges::max_element(h) - h.begin());
  CHECK(top == deconvolver.zero_index() + 480);
  // The sweep is flat from 28 Hz to 20.2 kHz of 24 kHz: the band-limited impulse keeps 0.84-0.92 of its height.
  CHECK(h[top] > 0.25 * 0.84);
  CHECK(h[top] < 0.25 * 0.92);
}

TEST_CASE("a band of half an octave, whose tapers overlap, is tapered once") {
  const Band band{Hertz{50.0}, Hertz{72.0}};
  const SweepShape sweep = synchronised_sweep(band, Seconds{2.0}, 0.125, Hertz{rate_hz});
  const Deconvolver deconvolver{sweep, rate_hz, rate_hz, {0.6, 0.6}};
  auto recording = as_float(sweep.samples);
  recording.resize(recording.size() + 40'000);
  const auto h = deconvolver.response(recording, 0.0);
  for (const double frequency_hz : {58.0, 63.0, 67.0, 68.0, 69.0}) {
    CAPTURE(frequency_hz);
    std::complex<double> gain;
    for (std::size_t n = 0; n < h.size(); ++n) {
      const double turn = 2.0 * std::numbers::pi * frequency_hz * static_cast<double>(n) / rate_hz;
      gain += static_cast<double>(h[n]) * std::polar(1.0, -turn);
    }
    // 3 %: what regularisation leaves where the sweep's own fades overlap.
    CHECK(std::abs(std::abs(gain) / band_taper(frequency_hz, band) - 1.0) < 0.03);
  }
}

TEST_CASE("the same sound twice gives the same response twice and no difference, wherever its two zeros lie") {
  // Property: also where the zeros are a rounding below and above a whole frame, and where their fractions differ.
  struct Zeros {
    double first;
    double second;
  };
  const SweepShape sweep = full_sweep();
  const Deconvolver deconvolver{sweep, rate_hz, rate_hz, {0.02, 0.1}};
  const auto heard_at = [&](double frame) { return test::convolve(sweep.samples, test::impulse(frame, 0.25, 5'000)); };
  for (const Zeros zeros : {Zeros{1'000.0 - 1e-9, 151'000.0 + 1e-9}, Zeros{1'000.0 + 1e-9, 151'000.0 - 1e-9},
                            Zeros{1'000.25, 151'000.25}, Zeros{1'000.25, 151'000.75}}) {
    CAPTURE(zeros.first);
    CAPTURE(zeros.second);
    std::vector<double> sound(300'000);
    const auto add = [&](const std::vector<double>& once, std::size_t from) {
      for (std::size_t n = 0; n < once.size(); ++n) sound[from + n] += once[n];
    };
    add(heard_at(zeros.first + 480.0), 0);
    add(heard_at(zeros.second - 150'000.0 + 480.0), 150'000);
    const auto pair = deconvolver.pair(as_float(sound), zeros.first, zeros.second);
    double unlike = 0.0;
    double height = 0.0;
    for (std::size_t n = 0; n < pair.first.size(); ++n) {
      unlike = std::max(unlike, static_cast<double>(std::abs(pair.first[n] - pair.second[n])));
      height = std::max(height, static_cast<double>(std::abs(pair.first[n])));
    }
    CHECK(height > 0.2);
    CHECK(unlike < 2e-4 * height);
    CHECK(std::abs(pair.first[deconvolver.zero_index() + 480] - pair.second[deconvolver.zero_index() + 480]) < 1e-5F);
    float difference = 0.0F;
    const auto places = deconvolver.places(zeros.first, zeros.second);
    CHECK(places.in_step == pair.difference.empty());
    Scratch<float> apart = pair.difference;
    if (places.in_step) {
      apart.resize(deconvolver.frames_needed());
      Deconvolver::difference(as_float(sound), places, 0, apart);
    }
    for (const float x : apart) difference = std::max(difference, std::abs(x));
    CHECK(difference < 1e-4F);
  }
}

TEST_CASE("single precision adds less to a response than 24 bits to a recording") {
  // Reference: the formula of deconvolution.hpp in double precision. Steps of 24 bits (2^-23) leave 2^-23 / sqrt(12) =
  // -149 dBFS rms, -128 dB of a sweep that is recorded at -21 dBFS rms.
  const SweepShape sweep = full_sweep();
  const Deconvolver deconvolver{sweep, rate_hz, rate_hz, {0.02, 0.1}};
  auto room = test::impulse(480.0, 0.25, 5'000);
  test::Noise noise{1};
  for (std::size_t n = 600; n < room.size(); ++n) {
    room[n] += 0.02 * noise.next() * std::exp(-static_cast<double>(n) / 900.0);
  }
  const auto recording = as_float(test::convolve(sweep.samples, room));
  const auto h = test::in_double(deconvolver.response(recording, 0.0));

  const std::size_t before = deconvolver.zero_index();
  const RealFft fft{good_fft_size(deconvolver.frames_needed())};
  std::vector<double> heard(fft.size());
  for (std::size_t n = 0; n < recording.size() && before + n < deconvolver.frames_needed(); ++n) {
    heard[before + n] = static_cast<double>(recording[n]);
  }
  auto bins = spectrum(fft, std::span<const double>{heard});
  const auto played = spectrum(fft, std::span<const double>{sweep.samples});
  double peak_level = 0.0;
  for (const double x : sweep.samples) peak_level = std::max(peak_level, std::abs(x));
  const double a = peak_level * rate_hz / 2.0;
  for (std::size_t k = 1; k < bins.size(); ++k) {
    const double f = static_cast<double>(k) * rate_hz / static_cast<double>(fft.size());
    const double unfaded = a * a * sweep.rate_constant.value() / f;
    bins[k] *= band_taper(f, sweep.band) * std::conj(played[k]) / (std::norm(played[k]) + 1e-4 * unfaded);
  }
  bins[0] = 0.0;
  std::vector<double> reference(fft.size());
  fft.inverse(bins, reference);
  double error = 0.0;
  double energy = 0.0;
  for (std::size_t n = 0; n < h.size(); ++n) {
    error += (h[n] - reference[n]) * (h[n] - reference[n]);
    energy += reference[n] * reference[n];
  }
  CHECK(0.5 * db(error / energy) < -128.0);
}

TEST_CASE("moving the zero by a fraction of a frame moves the response by as much") {
  // Property: shift theorem. A tone-free check: the fraction moves the group delay measured by the phase slope.
  const SweepShape sweep = full_sweep();
  const Deconvolver deconvolver{sweep, rate_hz, rate_hz, {0.02, 0.1}};
  const auto recording = as_float(test::convolve(sweep.samples, test::impulse(500.0, 1.0, 1'500)));
  const auto whole = test::in_double(deconvolver.response(recording, 0.0));
  const auto moved = test::in_double(deconvolver.response(recording, 0.37));
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
  auto h = test::in_double(deconvolver.response(as_float(distorted), 0.0));
  const auto clean = test::in_double(deconvolver.response(as_float(sweep.samples), 0.0));
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
  const auto h = test::in_double(deconvolver.response(recording, 0.0));
  // Compare in time: the impulse is at 10 ms of the player.
  const auto top = static_cast<double>(std::ranges::max_element(h) - h.begin());
  CHECK(std::abs((top - static_cast<double>(deconvolver.zero_index())) / other_hz - 0.010) < 0.6 / other_hz);
}

TEST_CASE("frames outside the recording count as silence") {
  const SweepShape sweep = full_sweep();
  const Deconvolver deconvolver{sweep, rate_hz, rate_hz, {0.02, 0.1}};
  const std::vector<float> nothing(100);
  for (const double zero : {-1e6, 0.0, 1e6})
    CHECK(peak(test::in_double(deconvolver.response(nothing, zero)), 0, deconvolver.length()) == 0.0);
}

TEST_SUITE_END();
