#include "ringtrue/response/deconvolution.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "ringtrue/dsp/band_filter.hpp"
#include "ringtrue/dsp/resample.hpp"

namespace ringtrue {
namespace {

constexpr double regularisation = 1e-4;    // of |X0|^2: 40 dB of fade are undone, below it noise would win
constexpr double low_taper_octaves = 0.5;  // as the sweep's own fade
constexpr double high_taper_octaves = 0.12;

double peak_of(std::span<const double> samples) {
  double peak = 0.0;
  for (const double x : samples) peak = std::max(peak, std::abs(x));
  return peak;
}

/// What a microphone's response is undone with, at one frequency.
std::complex<double> microphone_correction(const MicrophoneResponse& microphone, double frequency_hz) {
  constexpr double most = 100.0;  // 40 dB: beyond, a table would only raise noise
  const std::complex<double> transfer = transfer_at(microphone, frequency_hz);
  const double gain = std::abs(transfer);
  return gain > 0.0 ? std::conj(transfer) / gain * std::clamp(1.0 / gain, 1.0 / most, most) : most;
}

/// exp(i step k) by blocks of bins: phases within a block come from a table, so that no product waits for the one
/// before.
class BlockRamp {
 public:
  static constexpr std::size_t bins = 256;

  explicit BlockRamp(double step_rad) : step_rad_{step_rad} {
    for (std::size_t k = 0; k < bins; ++k) table_[k] = turn(k);
  }
  /// The phases of the block that begins at bin `from`.
  [[nodiscard]] std::array<std::complex<float>, bins> at(std::size_t from) const {
    const std::complex<float> phase = turn(from);
    std::array<std::complex<float>, bins> phases;
    for (std::size_t k = 0; k < bins; ++k) phases[k] = phase * table_[k];
    return phases;
  }

 private:
  [[nodiscard]] std::complex<float> turn(std::size_t k) const {
    return std::complex<float>{std::polar(1.0, step_rad_ * static_cast<double>(k))};
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
      sweep_frames_{static_cast<std::size_t>(
          std::ceil(static_cast<double>(shape.samples.size()) * recorder_rate_hz / stimulus_rate_hz))},
      fft_{good_fft_size(sweep_frames_ + before_ + after_)} {
  const std::vector<double> played = resample(shape.samples, stimulus_rate_hz, recorder_rate_hz);
  Scratch<float> time(fft_.size());
  const auto end = std::ranges::transform(played, time.begin(), [](double x) { return static_cast<float>(x); }).out;
  std::fill(end, time.end(), 0.0F);
  inverse_filter_.resize(fft_.bin_count());
  fft_.forward(time, inverse_filter_);

  const double df = recorder_rate_hz / static_cast<double>(fft_.size());
  const double a = peak_of(shape.samples) * recorder_rate_hz / 2.0;
  const double top = std::min(shape.band.high.value(), 0.49 * std::min(stimulus_rate_hz, recorder_rate_hz));
  const TaperedGain gain{{shape.band.low, Hertz{top}}, low_taper_octaves, high_taper_octaves};
  const double scale = 1.0 / static_cast<double>(fft_.size());  // of the inverse transform, in the filter already
  for (std::size_t k = 0; k < inverse_filter_.size(); ++k) {
    const double f = static_cast<double>(k) * df;
    const double taper = scale * gain.at(f);
    const double unfaded = f > 0.0 ? a * a * shape.rate_constant.value() / f : 1.0;
    const std::complex<double> X{inverse_filter_[k]};
    std::complex<double> inverse = taper * std::conj(X) / (std::norm(X) + regularisation * unfaded);
    if (microphone != nullptr) inverse *= microphone_correction(*microphone, f);
    inverse_filter_[k] = std::complex<float>{inverse};
  }
}

SingleSpectrum Deconvolver::stretch_spectrum(std::span<const float> recording, double zero_frame) const {
  const auto first = static_cast<std::ptrdiff_t>(std::floor(zero_frame)) - static_cast<std::ptrdiff_t>(before_);
  const auto needed = static_cast<std::ptrdiff_t>(frames_needed());
  const std::ptrdiff_t from = std::clamp<std::ptrdiff_t>(-first, 0, needed);  // frames of the stretch in the recording
  const std::ptrdiff_t to = std::clamp<std::ptrdiff_t>(std::ssize(recording) - first, from, needed);
  Scratch<float> time(fft_.size());
  std::fill(time.begin(), time.begin() + from, 0.0F);
  if (to > from) std::copy(recording.begin() + first + from, recording.begin() + first + to, time.begin() + from);
  std::fill(time.begin() + to, time.end(), 0.0F);
  SingleSpectrum bins(fft_.bin_count());
  fft_.forward(time, bins);
  return bins;
}

double Deconvolver::turn_of(double zero_frame) const {
  return 2.0 * std::numbers::pi * (zero_frame - std::floor(zero_frame)) / static_cast<double>(fft_.size());
}

std::vector<double> Deconvolver::in_time(std::span<std::complex<float>> bins, std::vector<double>* early) const {
  Scratch<float> time(fft_.size());
  fft_.inverse_unscaled(bins, time);
  // What comes before the window stands at the transform's end, in the room the sweep itself takes.
  if (early != nullptr && early_ <= sweep_frames_)
    early->assign(time.end() - static_cast<std::ptrdiff_t>(early_), time.end());
  return {time.begin(), time.begin() + static_cast<std::ptrdiff_t>(length())};
}

std::vector<double> Deconvolver::response(std::span<const float> recording, double zero_frame) const {
  auto bins = stretch_spectrum(recording, zero_frame);
  const BlockRamp ramp{turn_of(zero_frame)};
  by_blocks(bins.size(), [&](std::size_t from, std::size_t to) {
    const auto phases = ramp.at(from);
    for (std::size_t k = from; k < to; ++k) bins[k] *= phases[k - from] * inverse_filter_[k];
  });
  return in_time(bins);
}

Deconvolver::Pair Deconvolver::pair(std::span<const float> recording, double first_zero_frame,
                                    double second_zero_frame) const {
  auto first = stretch_spectrum(recording, first_zero_frame);
  auto second = stretch_spectrum(recording, second_zero_frame);
  SingleSpectrum apart(first.size());
  const BlockRamp first_ramp{turn_of(first_zero_frame)};
  const BlockRamp second_ramp{turn_of(second_zero_frame)};
  const float scale = 1.0F / static_cast<float>(fft_.size());
  // One walk through all of them: they do not fit into the cache together.
  by_blocks(first.size(), [&](std::size_t from, std::size_t to) {
    const auto first_phases = first_ramp.at(from);
    const auto second_phases = second_ramp.at(from);
    for (std::size_t k = from; k < to; ++k) {
      const std::complex<float> one = first[k] * first_phases[k - from];
      const std::complex<float> other = second[k] * second_phases[k - from];
      apart[k] = scale * (one - other);
      first[k] = one * inverse_filter_[k];
      second[k] = other * inverse_filter_[k];
    }
  });
  Pair result;
  result.difference.resize(fft_.size());
  fft_.inverse_unscaled(apart, result.difference);
  result.difference.resize(frames_needed());
  result.first = in_time(first, &result.first_early);
  result.second = in_time(second, &result.second_early);
  return result;
}

}  // namespace ringtrue
