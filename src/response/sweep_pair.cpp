#include "ringtrue/response/sweep_pair.hpp"

#include <Eigen/Core>
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

using Samples = Eigen::Map<const Eigen::VectorXf>;

float products(std::span<const float> a, std::span<const float> b) {
  const auto size = static_cast<Eigen::Index>(a.size());
  return Samples{a.data(), size}.dot(Samples{b.data(), size});
}

float squares(std::span<const float> a) { return products(a, a); }

/// Walks through a sound in whole blocks, each in memory that stays near, with the samples before it (before the
/// first: its first one, again and again).
/// @param read  read(from, samples): writes those from `from` on
/// @param each  each(begin): of a block; begin[-past] to begin[block - 1] are there
template <class Read, class Each>
void walk_blocks(std::size_t size, std::size_t block, std::size_t past, const Read& read, const Each& each) {
  Scratch<float> near(past + block);
  const auto begin = near.begin() + static_cast<std::ptrdiff_t>(past);
  for (std::size_t from = 0; from + block <= size; from += block) {
    if (from > 0) std::copy(near.end() - static_cast<std::ptrdiff_t>(past), near.end(), near.begin());
    read(from, std::span{near}.subspan(past));
    if (from == 0) std::fill(near.begin(), begin, *begin);
    each(near.data() + past);
  }
}

/// Energies of the filtered blocks of a disturbance or a sound. Single precision: thousands of squares want no more.
class BlockFilter {
 public:
  explicit BlockFilter(std::size_t block) : size_{static_cast<Eigen::Index>(block)} {}

  /// Second differences: the treble.
  [[nodiscard]] double treble(const float* begin) const {
    return energy(at(begin) - 2.0F * at(begin - 1) + at(begin - 2));
  }
  /// First differences: all but the bass.
  [[nodiscard]] double middle(const float* begin) const { return energy(at(begin) - at(begin - 1)); }
  /// First differences of the means over the last `width` samples, which telescope to one over `width`: the bass.
  [[nodiscard]] double bass(const float* begin, std::size_t width) const {
    return energy(at(begin) - at(begin - width)) / static_cast<double>(width * width);
  }

 private:
  [[nodiscard]] Samples at(const float* begin) const { return {begin, size_}; }
  template <class Filtered>
  [[nodiscard]] static double energy(const Filtered& filtered) {
    return static_cast<double>(filtered.squaredNorm());
  }

  Eigen::Index size_;
};

/// Reads a sound as it is.
auto reader_of(std::span<const float> sound) {
  return [sound](std::size_t from, std::span<float> samples) {
    const float* const begin = sound.data() + from;
    std::copy(begin, begin + samples.size(), samples.data());
  };
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

std::vector<double> treble_energies(std::span<const float> sound, std::size_t block) {
  const BlockFilter filter{block};
  std::vector<double> energies;
  walk_blocks(sound.size(), block, 2, reader_of(sound),
              [&](const float* begin) { energies.push_back(filter.treble(begin)); });
  return energies;
}

std::vector<double> loudness_of(std::span<const PairResponse> responses) {
  std::vector<double> blocks;
  for (const PairResponse& response : responses) {
    const auto& loudness = response.disturbance.loudness;
    blocks.insert(blocks.end(), loudness.begin(), loudness.end());
  }
  return blocks;
}

namespace {

/// What differs between two stretches of a recording, and how loud the first is.
/// @param size        samples of a stretch
/// @param difference  difference(from, samples): writes first minus second from there on
/// @param begin       first frame of the first stretch
template <class Difference>
Disturbance disturbance_of(std::size_t size, const Difference& difference, std::span<const float> recording,
                           std::ptrdiff_t begin, double recorder_rate_hz) {
  const std::size_t block = disturbance_block(recorder_rate_hz);
  const auto width = static_cast<std::size_t>(std::lround(64.0 * recorder_rate_hz / 48'000.0));
  const BlockFilter filter{block};
  Disturbance disturbance;
  auto& [treble, middle, bass] = disturbance.energies;
  walk_blocks(size, block, std::max<std::size_t>(2, width), difference, [&](const float* from) {
    treble.push_back(filter.treble(from));
    middle.push_back(filter.middle(from));
    bass.push_back(filter.bass(from, width));
  });
  if (begin >= 0 && begin + static_cast<std::ptrdiff_t>(size) <= std::ssize(recording)) {
    disturbance.loudness = treble_energies(recording.subspan(static_cast<std::size_t>(begin), size), block);
    return disturbance;
  }
  std::vector<float> sound(size);
  for (std::size_t i = 0; i < size; ++i) {
    const std::ptrdiff_t n = begin + static_cast<std::ptrdiff_t>(i);
    if (n >= 0 && n < std::ssize(recording)) sound[i] = recording[static_cast<std::size_t>(n)];
  }
  disturbance.loudness = treble_energies(sound, block);
  return disturbance;
}

}  // namespace

void compare_takes(PairResponse& response) {
  constexpr std::size_t at_a_time = 1'024;
  std::array<float, at_a_time> apart;
  double own = 0.0;
  double both = 0.0;
  double other = 0.0;
  double unlike = 0.0;
  for (std::size_t from = 0; from < response.first.size(); from += at_a_time) {
    const std::size_t size = std::min(at_a_time, response.first.size() - from);
    const auto first = std::span<const float>{response.first}.subspan(from, size);
    const auto second = std::span<const float>{response.second}.subspan(from, size);
    for (std::size_t n = 0; n < size; ++n) apart[n] = first[n] - second[n];
    own += static_cast<double>(squares(first));
    both += static_cast<double>(products(first, second));
    other += static_cast<double>(squares(second));
    unlike += static_cast<double>(squares(std::span<const float>{apart}.first(size)));
  }
  response.gain = own > 0.0 ? both / own : 1.0;
  response.likeness = own > 0.0 && other > 0.0 ? both / std::sqrt(own * other) : 0.0;
  response.unlike = own > 0.0 ? unlike / own : 1.0;
}

PairResponse respond(const Deconvolver& deconvolver, std::span<const float> recording, double first_zero_frame,
                     double second_zero_frame, double recorder_rate_hz) {
  const auto places = deconvolver.places(first_zero_frame, second_zero_frame);
  PairResponse result;
  if (places.in_step) {  // first, while the samples are read anyhow
    const auto difference = [&](std::size_t from, std::span<float> part) {
      Deconvolver::difference(recording, places, from, part);
    };
    result.disturbance =
        disturbance_of(deconvolver.frames_needed(), difference, recording, places.first, recorder_rate_hz);
  }
  auto pair = deconvolver.pair(recording, first_zero_frame, second_zero_frame);
  if (!places.in_step) {
    result.disturbance =
        disturbance_of(pair.difference.size(), reader_of(pair.difference), recording, places.first, recorder_rate_hz);
  }
  result.first = std::move(pair.first);
  result.second = std::move(pair.second);
  result.first_early = std::move(pair.first_early);
  result.second_early = std::move(pair.second_early);
  result.first_long = std::move(pair.first_long);
  result.second_long = std::move(pair.second_long);
  compare_takes(result);
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
  const auto first = spectrum(fft, std::span<const float>{response.first});
  const auto second = spectrum(fft, std::span<const float>{response.second});
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
