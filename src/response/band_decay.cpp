#include "ringtrue/response/band_decay.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>
#include <span>

#include "ringtrue/core/parallel.hpp"
#include "ringtrue/dsp/real_fft.hpp"
#include "ringtrue/dsp/scratch.hpp"
#include "ringtrue/response/decay.hpp"

namespace ringtrue {
namespace {

constexpr double octave_ratio_lg = 0.3;    // IEC 61260-1:2014: G = 10^(3/10)
constexpr double taper_share = 0.72;       // of the band's width, centred on its edge: the widest that class 1 allows
constexpr double pad_s = 0.25;             // the filters' ringing: the narrowest band's is past 60 dB by then
constexpr double least_rate_hz = 2'000.0;  // of an envelope
constexpr double band_time_needed = 8.0;   // found with noise decays of known T, see docs/room.md: below, filters ring
constexpr double band_time_needed_early = 32.0;
constexpr double clarity_range_db = 20.0;
constexpr double clarity_from_hz = 450.0;

double bands_per_octave(BandWidth width) { return width == BandWidth::octave ? 1.0 : 3.0; }

/// Half a band in powers of ten.
double half_width_lg(BandWidth width) { return 0.5 * octave_ratio_lg / bands_per_octave(width); }

struct Series {
  BandWidth width;
  int lowest;
  int highest;

  [[nodiscard]] std::size_t size() const { return static_cast<std::size_t>(highest - lowest + 1); }
  [[nodiscard]] double centre_hz(int k) const { return 1'000.0 * std::pow(10.0, 2.0 * half_width_lg(width) * k); }
};
constexpr Series octave_series{BandWidth::octave, -4, 3};                // 63 Hz to 8 kHz
constexpr Series third_octave_series{BandWidth::third_octave, -13, 10};  // 50 Hz to 10 kHz

BandFilters::Filter filter_of(double centre_hz, BandWidth width, std::size_t fft_size, double bin_hz) {
  const double reach = std::pow(10.0, half_width_lg(width) * (1.0 + taper_share));
  BandFilters::Filter filter;
  filter.centre_hz = centre_hz;
  filter.first = static_cast<std::size_t>(std::max(1.0, std::floor(centre_hz / reach / bin_hz)));
  const auto last = std::min(static_cast<std::size_t>(std::ceil(centre_hz * reach / bin_hz)), fft_size / 2 - 1);
  for (std::size_t k = filter.first; k <= last; ++k) {
    filter.gains.push_back(static_cast<float>(band_gain(static_cast<double>(k) * bin_hz, centre_hz, width)));
  }
  return filter;
}

using Values = Eigen::Map<const Eigen::ArrayXf>;

Values values_of(std::span<const float> samples) { return {samples.data(), std::ssize(samples)}; }

/// The spectrum of the mean of takes and the power of that of their noise, of one transform. In single precision, as
/// the responses are.
struct Spectra {
  SingleFft fft;
  SingleSpectrum mean;
  std::vector<float> noise_power;
  double rate_hz;

  Spectra(const Takes& takes, std::size_t size)
      : fft{size}, mean{spectrum(fft, takes.mean)}, noise_power(fft.bin_count()), rate_hz{takes.sample_rate_hz} {
    const auto noise = spectrum(fft, takes.noise);
    for (std::size_t k = 0; k < noise.size(); ++k) noise_power[k] = std::norm(noise[k]);
  }

  [[nodiscard]] double bin_hz() const { return rate_hz / static_cast<double>(fft.size()); }
};

/// What one band after the other is computed in.
struct Workspace {
  SingleSpectrum in_phase;
  SingleSpectrum quadrature;
  Scratch<float> real;
  Scratch<float> imaginary;
};

/// Squared envelope of one band at a rate that suits it, and the mean square of the noise's.
struct BandEnergy {
  std::span<const float> squared;  // in the workspace; the transform's whole length
  double noise_power = 0.0;
  double rate_hz = 0.0;
};

BandEnergy band_energy(const Spectra& spectra, const BandFilters::Filter& filter, std::size_t length, Workspace& work) {
  const std::size_t bins = filter.gains.size();
  const double seconds = 1.0 / spectra.bin_hz();
  const SingleFft small{good_fft_size(std::max(2 * bins + 4, static_cast<std::size_t>(least_rate_hz * seconds)))};
  const auto whole = static_cast<double>(spectra.fft.size());
  const auto scale = static_cast<float>(1.0 / whole);

  // Shifted down to bin 1: the envelope does not know.
  auto& [in_phase, quadrature, real, imaginary] = work;
  in_phase.resize(small.bin_count());
  quadrature.resize(small.bin_count());
  in_phase[0] = quadrature[0] = 0.0F;
  const auto end = static_cast<std::ptrdiff_t>(bins) + 1;
  std::fill(in_phase.begin() + end, in_phase.end(), 0.0F);
  std::fill(quadrature.begin() + end, quadrature.end(), 0.0F);
  const auto heard = std::span{spectra.mean}.subspan(filter.first, bins);
  for (std::size_t i = 0; i < bins; ++i) {
    const std::complex<float> bin = scale * filter.gains[i] * heard[i];
    in_phase[i + 1] = bin;
    quadrature[i + 1] = {bin.imag(), -bin.real()};
  }
  const auto noise_power = values_of(std::span{spectra.noise_power}.subspan(filter.first, bins));
  const float noise = (values_of(filter.gains).square() * noise_power).sum();
  real.resize(small.size());
  imaginary.resize(small.size());
  small.inverse_unscaled(in_phase, real);
  small.inverse_unscaled(quadrature, imaginary);
  for (std::size_t n = 0; n < small.size(); ++n) real[n] = real[n] * real[n] + imaginary[n] * imaginary[n];
  BandEnergy result{real};
  // Twice the mean square: an envelope's.
  result.noise_power = 4.0 * static_cast<double>(noise) / (whole * static_cast<double>(length));
  result.rate_hz = static_cast<double>(small.size()) / whole * spectra.rate_hz;
  return result;
}

/// Clarity and centre time of a squared envelope from the arrival on, its noise subtracted.
void add_clarity(std::span<const float> squared, double noise_power, double rate_hz, BandDecay& band) {
  const Values energy = values_of(squared);
  const auto until = [&](double seconds) {  // samples whose middle comes before
    const auto count = static_cast<Eigen::Index>(std::ceil(seconds * rate_hz - 0.5));
    return std::clamp<Eigen::Index>(count, 0, energy.size());
  };
  const auto between = [&](Eigen::Index from, Eigen::Index to) {
    return static_cast<double>(energy.segment(from, to - from).sum()) - noise_power * static_cast<double>(to - from);
  };
  const double early_50 = between(0, until(0.05));
  const double early_80 = early_50 + between(until(0.05), until(0.08));
  const double all = early_80 + between(until(0.08), energy.size());
  if (all <= early_80 || all <= early_50 || early_50 <= 0.0) return;
  const auto size = static_cast<double>(energy.size());
  const double moment = static_cast<double>(
      (energy * Eigen::ArrayXf::LinSpaced(energy.size(), 0.5F, static_cast<float>(size - 0.5))).sum());
  band.clarity_50_db = 10.0 * std::log10(early_50 / (all - early_50));
  band.clarity_80_db = 10.0 * std::log10(early_80 / (all - early_80));
  band.centre_time_s = (moment - noise_power * 0.5 * size * size) / rate_hz / all;
}

BandDecay decay_of(const Spectra& spectra, double arrival_s, std::size_t length, const BandFilters::Filter& filter,
                   BandWidth width, Workspace& work) {
  const double centre_hz = filter.centre_hz;
  BandDecay band;
  band.centre_hz = centre_hz;
  const BandEnergy energy = band_energy(spectra, filter, length, work);
  const double width_hz = centre_hz * 2.0 * std::sinh(half_width_lg(width) * std::numbers::ln10);
  const auto from = static_cast<std::size_t>(std::max(0.0, std::round(arrival_s * energy.rate_hz)));
  const auto to = std::min(energy.squared.size(),
                           static_cast<std::size_t>(static_cast<double>(length) / spectra.rate_hz * energy.rate_hz));
  if (from >= to) return band;
  const auto squared = energy.squared.subspan(from, to - from);
  const auto times =
      decay_times(squared, energy.noise_power, Hertz{energy.rate_hz}, Seconds{std::clamp(2.0 / width_hz, 0.01, 0.05)});
  if (!times) return band;
  const auto long_enough = [&](const std::optional<double>& seconds, double needed) {
    return seconds && *seconds * width_hz > needed ? seconds : std::nullopt;
  };
  band.range_db = times->range_db;
  band.early_s = long_enough(times->early_s, band_time_needed_early);
  band.t20_s = long_enough(times->t20_s, band_time_needed);
  band.t30_s = long_enough(times->t30_s, band_time_needed);
  if (width == BandWidth::octave && centre_hz > clarity_from_hz && times->range_db > clarity_range_db) {
    add_clarity(squared, energy.noise_power, energy.rate_hz, band);
  }
  return band;
}

std::vector<BandDecay> decays(const Spectra& spectra, double arrival_s, std::size_t length, Band flat, BandWidth width,
                              const BandFilters& filters) {
  std::vector<BandDecay> bands;
  Workspace work;
  const double edge = std::pow(10.0, half_width_lg(width));
  for (const BandFilters::Filter& filter : filters.of(width)) {
    if (filter.centre_hz / edge < flat.low.value() || filter.centre_hz * edge > flat.high.value()) continue;
    bands.push_back(decay_of(spectra, arrival_s, length, filter, width, work));
  }
  return bands;
}

}  // namespace

std::optional<double> reverberation_s(const BandDecay& band) { return band.t30_s ? band.t30_s : band.t20_s; }

std::optional<double> curvature_percent(const BandDecay& band) {
  if (!band.t20_s || !band.t30_s) return {};
  return 100.0 * (*band.t30_s / *band.t20_s - 1.0);
}

double band_gain(double frequency_hz, double centre_hz, BandWidth width) {
  if (frequency_hz <= 0.0) return 0.0;
  const double inside_lg = half_width_lg(width) - std::abs(std::log10(frequency_hz / centre_hz));
  const double taper_lg = taper_share * 2.0 * half_width_lg(width);
  const double share = std::clamp(0.5 + inside_lg / taper_lg, 0.0, 1.0);
  return std::sin(0.5 * std::numbers::pi * share);
}

BandFilters::BandFilters(std::size_t length, double rate_hz, unsigned threads, Hertz highest)
    : fft_size_{good_fft_size(length + static_cast<std::size_t>(pad_s * rate_hz))},
      bin_hz_{rate_hz / static_cast<double>(fft_size_)} {
  octaves_.resize(octave_series.size());
  third_octaves_.resize(third_octave_series.size());
  // Octaves first, from the highest on: the widest take longest, and should not be left to one thread at the end.
  parallel_for(octaves_.size() + third_octaves_.size(), threads, [&](std::size_t i) {
    const bool octave = i < octaves_.size();
    const Series& series = octave ? octave_series : third_octave_series;
    const std::size_t at = octave ? octaves_.size() - 1 - i : octaves_.size() + third_octaves_.size() - 1 - i;
    BandFilters::Filter& filter = octave ? octaves_[at] : third_octaves_[at];
    filter.centre_hz = series.centre_hz(series.lowest + static_cast<int>(at));
    if (filter.centre_hz <= highest.value()) filter = filter_of(filter.centre_hz, series.width, fft_size_, bin_hz_);
  });
}

std::vector<BandDecay> band_decays(const Takes& takes, double arrival_index, Band flat, BandWidth width) {
  const BandFilters filters{takes.mean.size(), takes.sample_rate_hz};
  const Spectra spectra{takes, filters.fft_size()};
  return decays(spectra, arrival_index / takes.sample_rate_hz, takes.mean.size(), flat, width, filters);
}

BandDecays band_decays(const Takes& takes, double arrival_index, Band flat) {
  return band_decays(takes, arrival_index, flat, BandFilters{takes.mean.size(), takes.sample_rate_hz});
}

BandDecays band_decays(const Takes& takes, double arrival_index, Band flat, const BandFilters& filters) {
  const Spectra spectra{takes, filters.fft_size()};
  const double arrival_s = arrival_index / takes.sample_rate_hz;
  return {decays(spectra, arrival_s, takes.mean.size(), flat, BandWidth::octave, filters),
          decays(spectra, arrival_s, takes.mean.size(), flat, BandWidth::third_octave, filters)};
}

}  // namespace ringtrue
