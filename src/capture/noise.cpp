#include "noise.hpp"

#include <array>
#include <cmath>
#include <complex>
#include <numbers>
#include <random>
#include <vector>

#include "ringtrue/core/parallel.hpp"
#include "ringtrue/core/statistics.hpp"

namespace ringtrue {
namespace {

constexpr std::size_t noise_block_samples = 65'536;                                 // each block has its own stream
constexpr std::array<double, 7> hum_mixture{1.0, 0.4, 0.5, 0.15, 0.25, 0.1, 0.12};  // 50, 100, .. 350 Hz; our choice

/// Uniform in (0, 1], 53 bits.
double uniform(std::mt19937_64& generator) { return static_cast<double>((generator() >> 11U) + 1U) * 0x1p-53; }

void add_noise_block(std::span<double> block, double rms, std::uint64_t seed) {
  std::mt19937_64 generator{seed};
  for (std::size_t n = 0; n < block.size(); n += 2) {
    const double radius = rms * std::sqrt(-2.0 * std::log(uniform(generator)));
    const double angle = 2.0 * std::numbers::pi * uniform(generator);
    block[n] += radius * std::cos(angle);
    if (n + 1 < block.size()) block[n + 1] += radius * std::sin(angle);
  }
}

/// A phasor turned step by step is ten times faster than sin(); set anew every 1024 samples, it errs by 1e-13.
void add_sine(std::span<double> signal, double amplitude, double turns_per_sample, double start_turns) {
  constexpr double turn = 2.0 * std::numbers::pi;
  const std::complex<double> step = std::polar(1.0, turn * turns_per_sample);
  std::complex<double> phasor;
  for (std::size_t n = 0; n < signal.size(); ++n) {
    if (n % 1'024 == 0) {
      const double turns = start_turns + turns_per_sample * static_cast<double>(n);
      phasor = std::polar(amplitude, turn * std::fmod(turns, 1.0));
    }
    signal[n] += phasor.imag();
    phasor = {phasor.real() * step.real() - phasor.imag() * step.imag(),
              phasor.real() * step.imag() + phasor.imag() * step.real()};
  }
}

/// Second-order low-pass by the bilinear transform, prewarped, in place.
void low_pass(std::span<double> signal, double frequency_hz, double q, double sample_rate_hz) {
  const double k = std::tan(std::numbers::pi * frequency_hz / sample_rate_hz);
  const double norm = 1.0 / (1.0 + k / q + k * k);
  const double b0 = k * k * norm;
  const double a1 = 2.0 * (k * k - 1.0) * norm;
  const double a2 = (1.0 - k / q + k * k) * norm;
  double z1 = 0.0;
  double z2 = 0.0;
  for (double& x : signal) {
    const double y = b0 * x + z1;
    z1 = 2.0 * b0 * x - a1 * y + z2;
    z2 = b0 * x - a2 * y;
    x = y;
  }
}

}  // namespace

std::uint64_t stream_seed(std::uint64_t seed, std::uint64_t stream) {
  std::uint64_t z = seed + (stream + 1) * 0x9E37'79B9'7F4A'7C15U;
  z = (z ^ (z >> 30U)) * 0xBF58'476D'1CE4'E5B9U;
  z = (z ^ (z >> 27U)) * 0x94D0'49BB'1331'11EBU;
  return z ^ (z >> 31U);
}

void add_white_noise(std::span<double> signal, double rms, std::uint64_t seed, unsigned threads) {
  parallel_for((signal.size() + noise_block_samples - 1) / noise_block_samples, threads, [&](std::size_t block) {
    const std::size_t first = block * noise_block_samples;
    add_noise_block(signal.subspan(first, std::min(noise_block_samples, signal.size() - first)), rms,
                    stream_seed(seed, block));
  });
}

void add_hum(std::span<double> signal, double rms, double sample_rate_hz) {
  double power = 0.0;
  for (const double a : hum_mixture) power += 0.5 * a * a;
  for (std::size_t h = 0; h < hum_mixture.size(); ++h) {
    const double amplitude = rms * hum_mixture[h] / std::sqrt(power);
    const double start = 0.1 * static_cast<double>(h * h);  // turns; any fixed phases that do not pile up
    add_sine(signal, amplitude, 50.0 * static_cast<double>(h + 1) / sample_rate_hz, start);
  }
}

void add_rumble(std::span<double> signal, double rms, double sample_rate_hz, std::uint64_t seed, unsigned threads) {
  if (signal.empty()) return;
  std::vector<double> rumble(signal.size());
  add_white_noise(rumble, 1.0, seed, threads);
  low_pass(rumble, 50.0, 0.541196, sample_rate_hz);  // 1 / (2 cos(pi/8)), 1 / (2 cos(3 pi/8)): Butterworth, order 4
  low_pass(rumble, 50.0, 1.306563, sample_rate_hz);
  const double gain = rms / ringtrue::rms(rumble);
  for (std::size_t n = 0; n < signal.size(); ++n) signal[n] += gain * rumble[n];
}

}  // namespace ringtrue
