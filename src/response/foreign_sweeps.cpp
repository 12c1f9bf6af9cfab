#include "foreign_sweeps.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "ringtrue/core/parallel.hpp"
#include "ringtrue/core/statistics.hpp"
#include "ringtrue/dsp/real_fft.hpp"
#include "ringtrue/response/deconvolution.hpp"

namespace ringtrue {
namespace {

std::size_t widest_shape(const Stimulus& stimulus) {
  std::size_t widest = 0;
  for (std::size_t i = 1; i < stimulus.shapes.size(); ++i) {
    if (stimulus.shapes[i].band.high > stimulus.shapes[widest].band.high) widest = i;
  }
  return widest;
}

bool most_answer(std::span<const PairResponse> responses, std::span<const TakeChoice> choices) {
  constexpr double alike = 0.5;
  std::size_t answered = 0;
  for (std::size_t i = 0; i < responses.size(); ++i) answered += choices[i].usable && responses[i].likeness >= alike;
  return 2 * answered >= responses.size();
}

// ---- the same sweep at other times ---------------------------------------------------------------------------------

/// Is a sweep, or a product of its distortion (L ln(k) early), expected at that frame?
bool expected_at(double frame, const Stimulus& stimulus, const Synchronisation& sync) {
  constexpr double early_by_s = 0.05;
  constexpr double late_by_s = 0.15;
  constexpr std::size_t harmonics = 5;
  for (std::size_t i = 0; i < stimulus.sweeps.size(); ++i) {
    const double rate_constant_s = stimulus.shapes[stimulus.sweeps[i].shape].rate_constant.value();
    for (std::size_t k = 1; k <= harmonics; ++k) {
      const double planned = sync.zero_frames[i] - rate_constant_s * std::log(static_cast<double>(k)) * sync.rate_hz;
      if (frame > planned - early_by_s * sync.rate_hz && frame < planned + late_by_s * sync.rate_hz) return true;
    }
  }
  return false;
}

bool plays_at_other_times(const Stimulus& stimulus, const Synchronisation& sync, std::span<const float> microphone,
                          unsigned threads) {
  constexpr double hop_s = 1.0;        // two sweeps of a stimulus lie further apart
  constexpr double stands_out = 12.0;  // over the median of its stretch; Gaussian noise of 10^5 samples gives 6.5
  constexpr double as_loud = 0.1;      // of the highest
  constexpr std::size_t enough = 3;
  const Deconvolver deconvolver{
      stimulus.shapes[widest_shape(stimulus)], stimulus.sample_rate_hz, sync.rate_hz, {0.0, hop_s}};
  struct Peak {
    double frame = 0.0;
    double height = 0.0;  // 0: none that stands out
  };
  const auto hop = static_cast<std::size_t>(hop_s * sync.rate_hz);
  std::vector<Peak> peaks(microphone.size() / hop);
  parallel_for(peaks.size(), threads, [&](std::size_t i) {
    auto h = deconvolver.response(microphone, static_cast<double>(i * hop));
    for (float& x : h) x = std::abs(x);
    const auto peak = std::ranges::max_element(h);
    const double frame = static_cast<double>(i * hop) + static_cast<double>(peak - h.begin());
    const auto height = static_cast<double>(*peak);
    if (height > stands_out * median({h.begin(), h.end()})) peaks[i] = {frame, height};
  });
  double highest = 0.0;
  for (const Peak& peak : peaks) highest = std::max(highest, peak.height);
  const auto strange = std::ranges::count_if(peaks, [&](const Peak& peak) {
    return peak.height > 0.0 && peak.height >= as_loud * highest && !expected_at(peak.frame, stimulus, sync);
  });
  return static_cast<std::size_t>(strange) >= std::max(enough, stimulus.sweeps.size() / 8);
}

// ---- sweeps of another speed ---------------------------------------------------------------------------------------

constexpr double block_s = 0.005;
constexpr std::size_t transform = 512;

struct Envelopes {
  std::vector<double> low;   // amplitude in the octave of 1 kHz, one value every 5 ms, mean taken off
  std::vector<double> high;  // of 4 kHz
};

Envelopes envelopes_of(std::span<const float> channel, double rate_hz) {
  const RealFft fft{transform};
  const double df = rate_hz / static_cast<double>(transform);
  const auto amplitude = [&](std::span<const std::complex<double>> bins, double centre_hz) {
    double sum = 0.0;
    for (std::size_t k = 0; k < bins.size(); ++k) {
      const double f = static_cast<double>(k) * df;
      if (f > centre_hz / std::numbers::sqrt2 && f < centre_hz * std::numbers::sqrt2) sum += std::norm(bins[k]);
    }
    return std::sqrt(sum);
  };
  Envelopes envelopes;
  std::vector<double> stretch(transform);
  std::vector<std::complex<double>> bins(transform / 2 + 1);
  const auto hop = static_cast<std::size_t>(block_s * rate_hz);
  for (std::size_t from = 0; from + transform <= channel.size(); from += hop) {
    for (std::size_t n = 0; n < transform; ++n) {
      const double hann = 0.5 - 0.5 * std::cos(2.0 * std::numbers::pi * static_cast<double>(n) / transform);
      stretch[n] = hann * static_cast<double>(channel[from + n]);
    }
    fft.forward(stretch, bins);
    envelopes.low.push_back(amplitude(bins, 1'000.0));
    envelopes.high.push_back(amplitude(bins, 4'000.0));
  }
  for (auto* envelope : {&envelopes.low, &envelopes.high}) {
    double mean = 0.0;
    for (const double x : *envelope) mean += x;
    mean /= static_cast<double>(std::max<std::size_t>(1, envelope->size()));
    for (double& x : *envelope) x -= mean;
  }
  return envelopes;
}

/// An exponential sweep takes L ln(4) from 1 kHz to 4 kHz. @returns whether the recording's take another time
bool sweeps_at_another_speed(const Stimulus& stimulus, std::span<const float> microphone, double rate_hz) {
  constexpr double longest_s = 4.0;
  constexpr double alike = 0.5;
  const Envelopes envelopes = envelopes_of(microphone, rate_hz);
  const std::size_t blocks = envelopes.low.size();
  const double scale = rms(std::span<const double>{envelopes.low}) * rms(std::span<const double>{envelopes.high});
  if (blocks == 0 || scale <= 0.0) return false;
  double best = 0.0;
  double best_s = 0.0;
  for (std::size_t lag = 1; lag < std::min(blocks, static_cast<std::size_t>(longest_s / block_s)); ++lag) {
    double sum = 0.0;
    for (std::size_t n = 0; n + lag < blocks; ++n) sum += envelopes.low[n] * envelopes.high[n + lag];
    const double correlation = sum / (scale * static_cast<double>(blocks));
    if (correlation <= best) continue;
    best = correlation;
    best_s = static_cast<double>(lag) * block_s;
  }
  const double expected_s = stimulus.shapes[widest_shape(stimulus)].rate_constant.value() * std::log(4.0);
  return best > alike && std::abs(best_s - expected_s) > 2.0 * block_s + 0.03 * expected_s;
}

}  // namespace

bool holds_foreign_sweeps(const Stimulus& stimulus, std::span<const PairResponse> responses,
                          std::span<const TakeChoice> choices, const Synchronisation& sync,
                          std::span<const float> microphone, unsigned threads) {
  if (most_answer(responses, choices)) return false;
  return plays_at_other_times(stimulus, sync, microphone, threads) ||
         sweeps_at_another_speed(stimulus, microphone, sync.rate_hz);
}

}  // namespace ringtrue
