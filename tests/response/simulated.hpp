#pragma once

#include <cmath>
#include <complex>
#include <cstdint>
#include <numbers>
#include <random>
#include <span>
#include <vector>

#include "ringtrue/capture/recording.hpp"
#include "ringtrue/dsp/real_fft.hpp"
#include "ringtrue/dsp/resample.hpp"
#include "ringtrue/stimulus/stimulus.hpp"

namespace ringtrue::test {

using Response = std::vector<double>;

/// Plain convolution through one long transform.
[[nodiscard]] inline std::vector<double> convolve(std::span<const double> a, std::span<const double> b) {
  const RealFft fft{good_fft_size(a.size() + b.size())};
  auto bins = spectrum(fft, a);
  const auto other = spectrum(fft, b);
  for (std::size_t k = 0; k < bins.size(); ++k) bins[k] *= other[k];
  std::vector<double> product(fft.size());
  fft.inverse(bins, product);
  product.resize(a.size() + b.size() - 1);
  return product;
}

[[nodiscard]] inline std::vector<double> in_double(std::span<const float> samples) {
  return {samples.begin(), samples.end()};
}

[[nodiscard]] inline std::vector<float> in_single(std::span<const double> samples) {
  std::vector<float> single;
  for (const double x : samples) single.push_back(static_cast<float>(x));
  return single;
}

/// An impulse of a given gain at a fractional sample, band-limited by a long Hann-windowed sinc.
[[nodiscard]] inline Response impulse(double delay_samples, double gain, std::size_t length) {
  Response h(length);
  constexpr double half = 400.0;
  for (std::size_t n = 0; n < length; ++n) {
    const double x = static_cast<double>(n) - delay_samples;
    if (std::abs(x) >= half) continue;
    const double sinc = x == 0.0 ? 1.0 : std::sin(std::numbers::pi * x) / (std::numbers::pi * x);
    h[n] = gain * sinc * (0.5 + 0.5 * std::cos(std::numbers::pi * x / half));
  }
  return h;
}

/// White noise of unit variance, the same on every machine.
class Noise {
 public:
  explicit Noise(std::uint64_t seed) : generator_{seed} {}
  [[nodiscard]] double next() {
    const double u = (static_cast<double>(generator_() >> 11) + 1.0) * 0x1.0p-53;
    const double v = static_cast<double>(generator_() >> 11) * 0x1.0p-53;
    return std::sqrt(-2.0 * std::log(u)) * std::cos(2.0 * std::numbers::pi * v);
  }

 private:
  std::mt19937_64 generator_;
};

struct Recorder {
  double noise_rms = 0.0;
  std::uint64_t seed = 1;
  double ppm = 0.0;  // > 0: the recorder's clock is fast, it takes more samples
  double rate_hz = 48'000.0;
  int late_frames = 0;  // > 0: the recorder misses these first frames; < 0: it has that much silence first
  bool loopback = false;
};

/// Plays a stimulus into one response per speaker (at the stimulus' rate; empty: silent) and records the sum.
[[nodiscard]] inline Recording play(const Stimulus& stimulus, const std::vector<Response>& responses,
                                    const Recorder& recorder = {}) {
  std::vector<double> microphone(static_cast<std::size_t>(stimulus.frames) + 30'000);
  std::vector<double> loopback(microphone.size());
  for (const ScheduledSweep& sweep : stimulus.sweeps) {
    const auto& samples = stimulus.shapes[sweep.shape].samples;
    const auto first = static_cast<std::size_t>(sweep.first_frame);
    for (std::size_t n = 0; n < samples.size(); ++n) loopback[first + n] += samples[n];
    if (responses[sweep.speaker].empty()) continue;
    const auto heard = convolve(samples, responses[sweep.speaker]);
    for (std::size_t n = 0; n < heard.size() && first + n < microphone.size(); ++n) microphone[first + n] += heard[n];
  }
  const auto as_recorded = [&](std::vector<double> x) {
    x = resample(x, stimulus.sample_rate_hz, recorder.rate_hz * (1.0 + 1e-6 * recorder.ppm));
    if (recorder.late_frames > 0) x.erase(x.begin(), x.begin() + recorder.late_frames);
    if (recorder.late_frames < 0) x.insert(x.begin(), static_cast<std::size_t>(-recorder.late_frames), 0.0);
    return x;
  };
  microphone = as_recorded(std::move(microphone));
  Noise noise{recorder.seed};
  for (double& x : microphone) x += recorder.noise_rms * noise.next();
  Recording recording;
  recording.name = "test";
  recording.sample_rate_hz = recorder.rate_hz;
  recording.microphone.assign(microphone.begin(), microphone.end());
  if (recorder.loopback) {
    loopback = as_recorded(std::move(loopback));
    recording.loopback.assign(loopback.begin(), loopback.end());
  }
  return recording;
}

/// Decibels of a ratio of amplitudes.
[[nodiscard]] inline double db(double ratio) { return 20.0 * std::log10(ratio); }

}  // namespace ringtrue::test
