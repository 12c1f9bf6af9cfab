#include "ringtrue/response/sweep_pair.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <numbers>

#include "ringtrue/dsp/band_filter.hpp"
#include "ringtrue/dsp/real_fft.hpp"
#include "ringtrue/response/clock.hpp"

namespace ringtrue {
namespace {

constexpr std::size_t lanes = 8;  // partial sums side by side: the order of addition is fixed, and vector units serve

/// Sum of term(n) for n in [from, to), of single precision where the terms are: a thousand squares want no more.
template <class Term>
double sum_of(std::size_t from, std::size_t to, const Term& term) {
  using Number = decltype(term(from));
  std::array<Number, lanes> sums{};
  std::size_t n = from;
  for (; n + lanes <= to; n += lanes) {
    for (std::size_t i = 0; i < lanes; ++i) sums[i] += term(n + i);
  }
  for (; n < to; ++n) sums[0] += term(n);
  return static_cast<double>(((sums[0] + sums[1]) + (sums[2] + sums[3])) + ((sums[4] + sums[5]) + (sums[6] + sums[7])));
}

/// Energies of blocks of a sequence that is given sample by sample; `near_start` where a filter has not filled yet.
template <class Sample, class Start>
std::vector<double> block_energies(std::size_t size, std::size_t block, std::size_t filled, const Sample& sample,
                                   const Start& near_start) {
  std::vector<double> energies;
  energies.reserve(size / block);
  const auto squared = [](float x) { return x * x; };
  for (std::size_t from = 0; from + block <= size; from += block) {
    const std::size_t split = std::clamp(filled, from, from + block);
    energies.push_back(sum_of(from, split, [&](std::size_t n) { return squared(near_start(n)); }) +
                       sum_of(split, from + block, [&](std::size_t n) { return squared(sample(n)); }));
  }
  return energies;
}

/// Second differences: the treble.
std::vector<double> trebles(std::span<const float> x, std::size_t block) {
  return block_energies(
      x.size(), block, 2, [&](std::size_t n) { return x[n] - 2.0F * x[n - 1] + x[n - 2]; },
      [&](std::size_t n) { return n == 1 ? x[1] - x[0] : 0.0F; });
}

/// First differences: the middle.
std::vector<double> middle_energies(std::span<const float> x, std::size_t block) {
  return block_energies(
      x.size(), block, 1, [&](std::size_t n) { return x[n] - x[n - 1]; }, [](std::size_t) { return 0.0F; });
}

/// First differences of the means over the last `width` samples: the bass. They telescope to a difference over `width`.
std::vector<double> bass_energies(std::span<const float> x, std::size_t block, std::size_t width) {
  const float share = 1.0F / static_cast<float>(width);
  return block_energies(
      x.size(), block, width, [&](std::size_t n) { return share * (x[n] - x[n - width]); },
      [&](std::size_t n) { return n > 0 ? share * x[n] : 0.0F; });
}

/// Natural logarithms of the power spectrum of a Hann-windowed stretch; frames outside count as silence.
std::vector<double> log_spectrum(std::span<const float> recording, std::ptrdiff_t from, std::size_t length) {
  const RealFft fft{good_fft_size(length)};
  std::vector<double> x(fft.size());
  for (std::size_t i = 0; i < length; ++i) {
    const std::ptrdiff_t n = from + static_cast<std::ptrdiff_t>(i);
    if (n < 0 || n >= std::ssize(recording)) continue;
    const double phase = 2.0 * std::numbers::pi * static_cast<double>(i) / static_cast<double>(length);
    x[i] = (0.5 - 0.5 * std::cos(phase)) * static_cast<double>(recording[static_cast<std::size_t>(n)]);
  }
  std::vector<double> logs;
  for (const std::complex<double>& bin : spectrum(fft, std::span<const double>{x})) {
    logs.push_back(std::log(std::norm(bin) + 1e-24));
  }
  return logs;
}

}  // namespace

std::size_t disturbance_block(double recorder_rate_hz) {
  return static_cast<std::size_t>(std::lround(1'024.0 * recorder_rate_hz / 48'000.0));
}

std::vector<double> treble_energies(std::span<const float> sound, std::size_t block) { return trebles(sound, block); }

std::vector<double> loudness_of(std::span<const PairResponse> responses) {
  std::vector<double> blocks;
  for (const PairResponse& response : responses) {
    const auto& loudness = response.disturbance.loudness;
    blocks.insert(blocks.end(), loudness.begin(), loudness.end());
  }
  return blocks;
}

PairResponse respond(const Deconvolver& deconvolver, std::span<const float> recording, double first_zero_frame,
                     double second_zero_frame, double recorder_rate_hz) {
  auto pair = deconvolver.pair(recording, first_zero_frame, second_zero_frame);
  PairResponse result;
  const std::size_t length = pair.first.size();
  const double own = sum_of(0, length, [&](std::size_t n) { return pair.first[n] * pair.first[n]; });
  const double both = sum_of(0, length, [&](std::size_t n) { return pair.first[n] * pair.second[n]; });
  const double other = sum_of(0, length, [&](std::size_t n) { return pair.second[n] * pair.second[n]; });
  result.gain = own > 0.0 ? both / own : 1.0;
  result.likeness = own > 0.0 && other > 0.0 ? both / std::sqrt(own * other) : 0.0;

  const std::size_t block = disturbance_block(recorder_rate_hz);
  const std::span<const float> difference{pair.difference};
  const auto width = static_cast<std::size_t>(std::lround(64.0 * recorder_rate_hz / 48'000.0));
  result.disturbance.energies = {trebles(difference, block), middle_energies(difference, block),
                                 bass_energies(difference, block, width)};

  const auto start =
      static_cast<std::ptrdiff_t>(first_zero_frame) - static_cast<std::ptrdiff_t>(deconvolver.zero_index());
  const auto size = std::ssize(pair.difference);
  if (start >= 0 && start + size <= std::ssize(recording)) {
    result.disturbance.loudness =
        treble_energies(recording.subspan(static_cast<std::size_t>(start), static_cast<std::size_t>(size)), block);
  } else {
    std::vector<float> sound(pair.difference.size());
    for (std::ptrdiff_t i = 0; i < size; ++i) {
      const std::ptrdiff_t n = start + i;
      if (n >= 0 && n < std::ssize(recording)) {
        sound[static_cast<std::size_t>(i)] = recording[static_cast<std::size_t>(n)];
      }
    }
    result.disturbance.loudness = treble_energies(sound, block);
  }
  result.first = std::move(pair.first);
  result.second = std::move(pair.second);
  result.first_early = std::move(pair.first_early);
  result.second_early = std::move(pair.second_early);
  return result;
}

int disturbed_take(std::span<const float> recording, std::ptrdiff_t first_frame, std::ptrdiff_t second_frame,
                   std::size_t block, std::size_t filter) {
  // Sweep and room are in both alike and cancel in the difference of logarithms; where only noise is, the disturbance
  // stands out. The mean over the bins therefore has the sign of the disturbed one.
  constexpr double bass_share = 1.0 / 60.0;   // 400 Hz of 24 kHz
  constexpr double treble_share = 1.0 / 8.0;  // 3 kHz
  const auto first = log_spectrum(recording, first_frame, 2 * block);
  const auto second = log_spectrum(recording, second_frame, 2 * block);
  const auto bins = static_cast<double>(first.size());
  const auto from = static_cast<std::size_t>(filter == 0 ? treble_share * bins : 1.0);
  const auto to = static_cast<std::size_t>(filter == 2 ? bass_share * bins : bins);
  double sum = 0.0;
  for (std::size_t k = from; k < to; ++k) sum += first[k] - second[k];
  return sum >= 0.0 ? 0 : 1;
}

std::optional<BrokenSweep> broken_sweep(const PairResponse& response, Band band, double rate_hz) {
  constexpr double least_frames = 6.0;
  constexpr double alike = 0.8;
  const RealFft fft{good_fft_size(response.first.size() + 512)};
  const auto first = spectrum(fft, std::span<const double>{response.first});
  const auto second = spectrum(fft, std::span<const double>{response.second});
  std::array<double, 2> earliest{1e18, 1e18};
  std::array<double, 2> latest{-1e18, -1e18};
  double least_lag = 1e18;
  double most_lag = -1e18;
  for (double centre = 250.0; centre < 0.7 * band.high.value(); centre *= 2.0) {
    const Band octave{Hertz{centre / std::numbers::sqrt2}, Hertz{centre * std::numbers::sqrt2}};
    if (octave.low < band.low || octave.high > band.high) continue;
    const PairLag lag = pair_lag(response.first, response.second, octave, rate_hz);
    if (lag.coherence < alike) continue;  // the octave in which the break lies
    least_lag = std::min(least_lag, lag.lag_samples);
    most_lag = std::max(most_lag, lag.lag_samples);
    std::array<double, 2> peak{};
    for (const std::size_t take : {0U, 1U}) {
      const auto magnitude = envelope(hann_band_analytic(fft, take == 0 ? first : second, octave, Hertz{rate_hz}));
      peak[take] = static_cast<double>(std::ranges::max_element(magnitude) - magnitude.begin());
    }
    for (const std::size_t take : {0U, 1U}) {
      earliest[take] = std::min(earliest[take], peak[take]);
      latest[take] = std::max(latest[take], peak[take]);
    }
  }
  if (most_lag - least_lag < least_frames) return {};
  return BrokenSweep{most_lag - least_lag, latest[0] - earliest[0] > latest[1] - earliest[1] ? 0 : 1};
}

}  // namespace ringtrue
