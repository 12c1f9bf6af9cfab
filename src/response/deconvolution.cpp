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

/// bins[k] *= exp(i step k). Phases within a block come from a table, so that no product waits for the one before.
void rotate(std::span<std::complex<double>> bins, double step) {
  constexpr std::size_t block = 256;
  std::array<std::complex<double>, block> table;
  for (std::size_t k = 0; k < block; ++k) table[k] = std::polar(1.0, step * static_cast<double>(k));
  for (std::size_t from = 0; from < bins.size(); from += block) {
    const std::complex<double> phase = std::polar(1.0, step * static_cast<double>(from));
    const std::size_t count = std::min(block, bins.size() - from);
    for (std::size_t k = 0; k < count; ++k) bins[from + k] *= phase * table[k];
  }
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
  inverse_filter_ = spectrum(fft_, std::span<const double>{played});

  const double df = recorder_rate_hz / static_cast<double>(fft_.size());
  const double a = peak_of(shape.samples) * recorder_rate_hz / 2.0;
  const double top = std::min(shape.band.high.value(), 0.49 * std::min(stimulus_rate_hz, recorder_rate_hz));
  const TaperedGain gain{{shape.band.low, Hertz{top}}, low_taper_octaves, high_taper_octaves};
  for (std::size_t k = 0; k < inverse_filter_.size(); ++k) {
    const double f = static_cast<double>(k) * df;
    const double taper = gain.at(f);
    const double unfaded = f > 0.0 ? a * a * shape.rate_constant.value() / f : 1.0;
    const std::complex<double> X = inverse_filter_[k];
    inverse_filter_[k] = taper * std::conj(X) / (std::norm(X) + regularisation * unfaded);
    if (microphone != nullptr) inverse_filter_[k] *= microphone_correction(*microphone, f);
  }
}

void Deconvolver::stretch_spectrum(std::span<const float> recording, double zero_frame,
                                   std::vector<std::complex<double>>& bins) const {
  const double whole = std::floor(zero_frame);
  const double fraction = zero_frame - whole;
  const auto first = static_cast<std::ptrdiff_t>(whole) - static_cast<std::ptrdiff_t>(before_);
  const auto size = std::ssize(recording);
  std::vector<double> time(fft_.size());
  for (std::size_t i = 0; i < frames_needed(); ++i) {
    const std::ptrdiff_t n = first + static_cast<std::ptrdiff_t>(i);
    if (n >= 0 && n < size) time[i] = static_cast<double>(recording[static_cast<std::size_t>(n)]);
  }
  bins.resize(fft_.bin_count());
  fft_.forward(time, bins);
  // exp(+i w fraction): the zero lies a fraction of a frame after sample `before_`; bring it there.
  if (fraction != 0.0) rotate(bins, 2.0 * std::numbers::pi * fraction / static_cast<double>(fft_.size()));
}

std::vector<double> Deconvolver::deconvolved(std::vector<std::complex<double>>& bins,
                                             std::vector<double>* early) const {
  for (std::size_t k = 0; k < bins.size(); ++k) bins[k] *= inverse_filter_[k];
  std::vector<double> time(fft_.size());
  fft_.inverse(bins, time);
  // What comes before the window stands at the transform's end, in the room the sweep itself takes.
  if (early != nullptr && early_ <= sweep_frames_)
    early->assign(time.end() - static_cast<std::ptrdiff_t>(early_), time.end());
  time.resize(length());
  return time;
}

std::vector<double> Deconvolver::response(std::span<const float> recording, double zero_frame) const {
  std::vector<std::complex<double>> bins;
  stretch_spectrum(recording, zero_frame, bins);
  return deconvolved(bins);
}

Deconvolver::Pair Deconvolver::pair(std::span<const float> recording, double first_zero_frame,
                                    double second_zero_frame) const {
  std::vector<std::complex<double>> first;
  std::vector<std::complex<double>> second;
  stretch_spectrum(recording, first_zero_frame, first);
  stretch_spectrum(recording, second_zero_frame, second);
  std::vector<std::complex<double>> bins(first.size());
  for (std::size_t k = 0; k < bins.size(); ++k) bins[k] = first[k] - second[k];
  std::vector<double> difference(fft_.size());
  fft_.inverse(bins, difference);
  difference.resize(frames_needed());
  Pair result;
  result.difference = std::move(difference);
  result.first = deconvolved(first, &result.first_early);
  result.second = deconvolved(second, &result.second_early);
  return result;
}

}  // namespace ringtrue
