#include "ringtrue/response/deconvolution.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <array>
#include <cassert>
#include <cmath>
#include <cstdint>
#include <numbers>

#include "ringtrue/core/prefetch.hpp"
#include "ringtrue/dsp/band_filter.hpp"
#include "ringtrue/dsp/resample.hpp"

namespace ringtrue {
namespace {

constexpr double regularisation = 1e-4;    // of |X0|^2: 40 dB of fade are undone, below it noise would win
constexpr double low_taper_octaves = 0.5;  // as the sweep's own fade
constexpr double high_taper_octaves = 0.12;

constexpr double whole_frame = 1e-6;  // shifted by less, single precision is the same

double peak_of(std::span<const double> samples) {
  return Eigen::Map<const Eigen::ArrayXd>{samples.data(), std::ssize(samples)}.abs().maxCoeff();
}

/// A sweep as it was played, at the recorder's rate, and silence up to a size.
Scratch<float> padded(std::span<const double> samples, double from_hz, double to_hz, std::size_t size) {
  std::vector<double> resampled;
  if (from_hz != to_hz) {
    resampled = resample(samples, from_hz, to_hz);
    samples = resampled;
  }
  Scratch<float> time(size);
  for (std::size_t n = 0; n < samples.size(); ++n) time[n] = static_cast<float>(samples[n]);
  std::fill(time.begin() + std::ssize(samples), time.end(), 0.0F);
  return time;
}

/// What a microphone's response is undone with, at one frequency.
std::complex<double> microphone_correction(const MicrophoneResponse& microphone, double frequency_hz) {
  constexpr double most = 100.0;  // 40 dB: beyond, a table would only raise noise
  const std::complex<double> transfer = transfer_at(microphone, frequency_hz);
  const double gain = std::abs(transfer);
  return gain > 0.0 ? std::conj(transfer) / gain * std::clamp(1.0 / gain, 1.0 / most, most) : most;
}

/// exp(i step k) by blocks of bins: phases within a block come from a table, so that no product waits for the one
/// before, and sines and cosines are few.
class BlockRamp {
 public:
  static constexpr std::size_t bins = 256;

  explicit BlockRamp(double step_rad) : step_rad_{step_rad} {
    constexpr std::size_t coarse = 16;
    std::array<std::complex<double>, coarse> fine;
    for (std::size_t k = 0; k < coarse; ++k) fine[k] = turn(k);
    for (std::size_t from = 0; from < bins; from += coarse) {
      const std::complex<double> begin = turn(from);
      for (std::size_t k = 0; k < coarse; ++k) table_[from + k] = std::complex<float>{begin * fine[k]};
    }
  }
  /// The phases of the block that begins at bin `from`.
  [[nodiscard]] std::array<std::complex<float>, bins> at(std::size_t from) const {
    const std::complex<float> phase{turn(from)};
    std::array<std::complex<float>, bins> phases;
    for (std::size_t k = 0; k < bins; ++k) phases[k] = phase * table_[k];
    return phases;
  }

 private:
  [[nodiscard]] std::complex<double> turn(std::size_t k) const {
    return std::polar(1.0, step_rad_ * static_cast<double>(k));
  }

  double step_rad_;
  std::array<std::complex<float>, bins> table_;
};

/// Calls each(from, to) for blocks of bins.
template <class Each>
void by_blocks(std::size_t bins, const Each& each) {
  for (std::size_t from = 0; from < bins; from += BlockRamp::bins) each(from, std::min(bins, from + BlockRamp::bins));
}

}  // namespace

double frame_before(double zero_frame) {
  const double nearest = std::round(zero_frame);
  return std::abs(zero_frame - nearest) < whole_frame ? nearest : std::floor(zero_frame);
}

Band flat_band(Band sweep_band) {
  return {Hertz{sweep_band.low.value() * std::exp2(low_taper_octaves)},
          Hertz{sweep_band.high.value() * std::exp2(-high_taper_octaves)}};
}

double band_taper(double frequency_hz, Band sweep_band) {
  return tapered_gain(frequency_hz, sweep_band, low_taper_octaves, high_taper_octaves);
}

Deconvolver::Deconvolver(const SweepShape& shape, double stimulus_rate_hz, double recorder_rate_hz,
                         ResponseWindow window, const MicrophoneResponse* microphone)
    : before_{static_cast<std::size_t>(std::ceil(window.before_s * recorder_rate_hz))},
      after_{static_cast<std::size_t>(std::ceil(window.after_s * recorder_rate_hz))},
      early_{static_cast<std::size_t>(std::ceil(window.early_s * recorder_rate_hz))},
      longest_{std::max(after_, static_cast<std::size_t>(std::ceil(window.long_s * recorder_rate_hz)))},
      sweep_frames_{static_cast<std::size_t>(
          std::ceil(static_cast<double>(shape.samples.size()) * recorder_rate_hz / stimulus_rate_hz))},
      rate_hz_{recorder_rate_hz},
      fft_{good_fft_size(sweep_frames_ + before_ + longest_)},
      inverse_filter_(fft_.bin_count()) {
  fft_.forward(padded(shape.samples, stimulus_rate_hz, recorder_rate_hz, fft_.size()), inverse_filter_);

  const double df = recorder_rate_hz / static_cast<double>(fft_.size());
  const double top = std::min(shape.band.high.value(), 0.49 * std::min(stimulus_rate_hz, recorder_rate_hz));
  const TaperedGain gain{{shape.band.low, Hertz{top}}, low_taper_octaves, high_taper_octaves};
  const auto scale = static_cast<float>(1.0 / static_cast<double>(fft_.size()));  // of the inverse transform
  const double a = peak_of(shape.samples) * recorder_rate_hz / 2.0;
  const auto unfaded_at_df = static_cast<float>(regularisation * a * a * shape.rate_constant.value() / df);
  inverse_filter_[0] = 0.0F;                                           // no sweep reaches 0 Hz
  const auto end = static_cast<std::int32_t>(inverse_filter_.size());  // 32 bits: what vector units turn into floats
  for (std::int32_t bin = 1; bin < end; ++bin) {
    const auto k = static_cast<std::size_t>(bin);
    const std::complex<float> X = inverse_filter_[k];
    const float energy = X.real() * X.real() + X.imag() * X.imag();
    const float share = scale / (energy + unfaded_at_df / static_cast<float>(bin));
    inverse_filter_[k] = {share * X.real(), -share * X.imag()};
  }
  const Band flat = flat_band({shape.band.low, Hertz{top}});
  const auto frequency = [&](std::size_t k) { return static_cast<double>(k) * df; };
  const auto taper = [&](std::size_t k) { inverse_filter_[k] *= static_cast<float>(gain.at(frequency(k))); };
  std::size_t from = 1;  // of the rest: a narrow band's tapers overlap
  for (; from < inverse_filter_.size() && frequency(from) <= flat.low.value(); ++from) taper(from);
  for (std::size_t k = inverse_filter_.size(); k-- > from && frequency(k) >= flat.high.value();) taper(k);
  if (microphone == nullptr) return;
  for (std::size_t k = 1; k < inverse_filter_.size(); ++k) {
    inverse_filter_[k] *= std::complex<float>{microphone_correction(*microphone, static_cast<double>(k) * df)};
  }
}

std::ptrdiff_t Deconvolver::stretch_begin(double zero_frame) const {
  return static_cast<std::ptrdiff_t>(frame_before(zero_frame)) - static_cast<std::ptrdiff_t>(before_);
}

void Deconvolver::stretch_spectrum(std::span<const float> recording, std::ptrdiff_t first, Buffers& buffers) const {
  const auto needed = static_cast<std::ptrdiff_t>(sweep_frames_ + before_ + longest_);
  const std::ptrdiff_t from = std::clamp<std::ptrdiff_t>(-first, 0, needed);  // frames of the stretch in the recording
  const std::ptrdiff_t to = std::clamp<std::ptrdiff_t>(std::ssize(recording) - first, from, needed);
  auto& [time, bins] = buffers;
  time.resize(fft_.size());
  std::fill(time.begin(), time.begin() + from, 0.0F);
  if (to > from) std::copy(recording.begin() + first + from, recording.begin() + first + to, time.begin() + from);
  std::fill(time.begin() + to, time.end(), 0.0F);
  bins.resize(fft_.bin_count());
  fft_.forward(time, bins);
}

double Deconvolver::turn_of(double zero_frame) const {
  const double fraction = zero_frame - frame_before(zero_frame);
  return fraction < whole_frame ? 0.0 : 2.0 * std::numbers::pi * fraction / static_cast<double>(fft_.size());
}

void Deconvolver::filter(double turn, std::span<std::complex<float>> bins) const {
  if (turn == 0.0) {
    for (std::size_t k = 0; k < bins.size(); ++k) bins[k] *= inverse_filter_[k];
    return;
  }
  const BlockRamp ramp{turn};
  by_blocks(bins.size(), [&](std::size_t from, std::size_t to) {
    const auto phases = ramp.at(from);
    for (std::size_t k = from; k < to; ++k) bins[k] *= phases[k - from] * inverse_filter_[k];
  });
}

std::vector<float> Deconvolver::window_of(const Scratch<float>& time) const {
  return {time.begin(), time.begin() + static_cast<std::ptrdiff_t>(length())};
}

/// What comes before the window stands at the transform's end, in the room the sweep itself takes.
std::vector<float> Deconvolver::early_of(const Scratch<float>& time) const {
  if (early_ > sweep_frames_) return {};
  return {time.end() - static_cast<std::ptrdiff_t>(early_), time.end()};
}

std::vector<float> Deconvolver::long_of(const Scratch<float>& time) const {
  if (longest_ == after_) return {};
  return {time.begin(), time.begin() + static_cast<std::ptrdiff_t>(before_ + longest_)};
}

std::vector<float> Deconvolver::response(std::span<const float> recording, double zero_frame) const {
  Buffers buffers;
  stretch_spectrum(recording, stretch_begin(zero_frame), buffers);
  filter(turn_of(zero_frame), buffers.bins);
  fft_.inverse_unscaled(buffers.bins, buffers.time);
  return window_of(buffers.time);
}

std::vector<float> Deconvolver::thinned_response(std::span<const float> recording, double zero_frame, Hertz low,
                                                 std::size_t thinned) const {
  Buffers buffers;
  stretch_spectrum(recording, stretch_begin(zero_frame), buffers);
  const auto& bins = buffers.bins;
  const SingleFft small{fft_.size() / thinned};
  SingleSpectrum kept(small.bin_count());
  const std::size_t end = kept.size() - 1;
  const std::size_t falls = end - end / 4;  // to nothing at half the sample rate
  const auto from = static_cast<std::size_t>(low.value() / rate_hz_ * static_cast<double>(fft_.size()));
  std::fill(kept.begin(), kept.end(), 0.0F);
  const BlockRamp ramp{turn_of(zero_frame)};
  by_blocks(end, [&](std::size_t block_from, std::size_t to) {
    const auto phases = ramp.at(block_from);
    for (std::size_t k = std::max(from, block_from); k < to; ++k) {
      kept[k] = bins[k] * phases[k - block_from] * inverse_filter_[k];
    }
  });
  for (std::size_t k = std::max(from, falls); k < end; ++k) {
    kept[k] *= static_cast<float>(end - k) / static_cast<float>(end - falls);
  }
  Scratch<float> time(small.size());
  small.inverse_unscaled(kept, time);
  return {time.begin(), time.begin() + static_cast<std::ptrdiff_t>(length() / thinned)};
}

Deconvolver::Places Deconvolver::places(double first_zero_frame, double second_zero_frame) const {
  const double apart = second_zero_frame - first_zero_frame;
  const bool in_step = std::abs(apart - std::round(apart)) < whole_frame;
  const std::ptrdiff_t first = stretch_begin(first_zero_frame);
  // Two fractions that are equal but for rounding may have different whole frames before them: 0.9999999 and 0.
  return {first, in_step ? first + std::lround(apart) : stretch_begin(second_zero_frame), in_step};
}

void Deconvolver::difference(std::span<const float> recording, const Places& places, std::size_t from,
                             std::span<float> part) {
  assert(places.in_step);
  const std::ptrdiff_t first = places.first + static_cast<std::ptrdiff_t>(from);
  const std::ptrdiff_t second = places.second + static_cast<std::ptrdiff_t>(from);
  if (std::min(first, second) >= 0 && std::max(first, second) + std::ssize(part) <= std::ssize(recording)) {
    const float* const one = recording.data() + first;
    const float* const other = recording.data() + second;
    for (std::size_t n = 0; n < part.size(); n += samples_per_cache_line) {
      prefetch(recording, static_cast<std::size_t>(first) + n + part.size());
      prefetch(recording, static_cast<std::size_t>(second) + n + part.size());
    }
    float* const apart = part.data();
    for (std::size_t n = 0; n < part.size(); ++n) apart[n] = one[n] - other[n];
    return;
  }
  const auto at = [&](std::ptrdiff_t n) {
    return n >= 0 && n < std::ssize(recording) ? recording[static_cast<std::size_t>(n)] : 0.0F;
  };
  for (std::ptrdiff_t n = 0; n < std::ssize(part); ++n)
    part[static_cast<std::size_t>(n)] = at(first + n) - at(second + n);
}

Scratch<float> Deconvolver::difference(const SingleSpectrum& first, double first_turn, const SingleSpectrum& second,
                                       double second_turn) const {
  SingleSpectrum apart(first.size());
  const BlockRamp first_ramp{first_turn};
  const BlockRamp second_ramp{second_turn};
  const float scale = 1.0F / static_cast<float>(fft_.size());
  by_blocks(apart.size(), [&](std::size_t from, std::size_t to) {
    const auto first_phases = first_ramp.at(from);
    const auto second_phases = second_ramp.at(from);
    for (std::size_t k = from; k < to; ++k) {
      apart[k] = scale * (first[k] * first_phases[k - from] - second[k] * second_phases[k - from]);
    }
  });
  Scratch<float> result(fft_.size());
  fft_.inverse_unscaled(apart, result);
  result.resize(frames_needed());
  return result;
}

Deconvolver::Pair Deconvolver::pair(std::span<const float> recording, double first_zero_frame,
                                    double second_zero_frame) const {
  const auto [begin, other_begin, in_step] = places(first_zero_frame, second_zero_frame);
  const double turn = turn_of(first_zero_frame);
  const double other_turn = in_step ? turn : turn_of(second_zero_frame);
  Pair result;
  Buffers buffers;  // the same memory for both: what a core keeps near is little
  stretch_spectrum(recording, begin, buffers);
  const SingleSpectrum unfiltered = in_step ? SingleSpectrum{} : buffers.bins;
  filter(turn, buffers.bins);
  fft_.inverse_unscaled(buffers.bins, buffers.time);
  result.first = window_of(buffers.time);
  result.first_early = early_of(buffers.time);
  result.first_long = long_of(buffers.time);
  stretch_spectrum(recording, other_begin, buffers);
  if (!in_step) result.difference = difference(unfiltered, turn, buffers.bins, other_turn);
  filter(other_turn, buffers.bins);
  fft_.inverse_unscaled(buffers.bins, buffers.time);
  result.second = window_of(buffers.time);
  result.second_early = early_of(buffers.time);
  result.second_long = long_of(buffers.time);
  return result;
}

}  // namespace ringtrue
