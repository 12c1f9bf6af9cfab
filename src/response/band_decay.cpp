#include "ringtrue/response/band_decay.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>
#include <span>

#include "ringtrue/dsp/real_fft.hpp"
#include "ringtrue/response/decay.hpp"

namespace ringtrue {
namespace {

constexpr double octave_ratio_lg = 0.3;    // IEC 61260-1:2014: G = 10^(3/10)
constexpr double taper_share = 0.72;       // of the band's width, centred on its edge: the widest that class 1 allows
constexpr double pad_s = 0.25;             // the filters' ringing: the narrowest band's is past 60 dB by then
constexpr double least_rate_hz = 2'000.0;  // of an envelope: times are read off it
constexpr double band_time_needed = 8.0;   // found with noise decays of known T, see docs/room.md: below, filters ring
constexpr double band_time_needed_early = 32.0;
constexpr double clarity_range_db = 20.0;
constexpr double clarity_from_hz = 450.0;

double bands_per_octave(BandWidth width) { return width == BandWidth::octave ? 1.0 : 3.0; }

/// Half a band in powers of ten.
double half_width_lg(BandWidth width) { return 0.5 * octave_ratio_lg / bands_per_octave(width); }

/// Spectra of the two parts of takes, of one transform.
struct Spectra {
  const RealFft fft;
  std::vector<std::complex<double>> mean;
  std::vector<std::complex<double>> noise;
  double rate_hz;

  explicit Spectra(const Takes& takes)
      : fft{good_fft_size(takes.mean.size() + static_cast<std::size_t>(pad_s * takes.sample_rate_hz))},
        mean{spectrum(fft, std::span<const double>{takes.mean})},
        noise{spectrum(fft, std::span<const double>{takes.noise})},
        rate_hz{takes.sample_rate_hz} {}

  [[nodiscard]] double bin_hz() const { return rate_hz / static_cast<double>(fft.size()); }
};

/// Squared envelope of one band at a rate that suits it, and the mean square of the noise's.
struct BandEnergy {
  std::vector<double> squared;  // the transform's whole length
  double noise_power = 0.0;
  double rate_hz = 0.0;
};

BandEnergy band_energy(const Spectra& spectra, double centre_hz, BandWidth width, std::size_t length) {
  const double reach = std::pow(10.0, half_width_lg(width) * (1.0 + taper_share));
  const auto first = static_cast<std::size_t>(std::max(1.0, std::floor(centre_hz / reach / spectra.bin_hz())));
  const auto last =
      std::min(static_cast<std::size_t>(std::ceil(centre_hz * reach / spectra.bin_hz())), spectra.mean.size() - 2);
  const std::size_t bins = last > first ? last - first + 1 : 1;
  const double seconds = 1.0 / spectra.bin_hz();
  const RealFft small{good_fft_size(std::max(2 * bins + 4, static_cast<std::size_t>(least_rate_hz * seconds)))};
  const double scale = static_cast<double>(small.size()) / static_cast<double>(spectra.fft.size());

  // Shifted down to bin 1: the envelope does not know.
  std::vector<std::complex<double>> in_phase(small.bin_count());
  std::vector<std::complex<double>> quadrature(small.bin_count());
  double noise = 0.0;
  for (std::size_t k = first; k <= last; ++k) {
    const double gain = band_gain(static_cast<double>(k) * spectra.bin_hz(), centre_hz, width);
    in_phase[k - first + 1] = scale * gain * spectra.mean[k];
    quadrature[k - first + 1] = in_phase[k - first + 1] * std::complex<double>{0.0, -1.0};
    noise += gain * gain * std::norm(spectra.noise[k]);
  }
  BandEnergy result;
  std::vector<double> imaginary(small.size());
  result.squared.resize(small.size());
  small.inverse(in_phase, result.squared);
  small.inverse(quadrature, imaginary);
  for (std::size_t n = 0; n < small.size(); ++n) {
    result.squared[n] = result.squared[n] * result.squared[n] + imaginary[n] * imaginary[n];
  }
  const auto whole = static_cast<double>(spectra.fft.size());
  result.noise_power = 4.0 * noise / (whole * static_cast<double>(length));  // twice the mean square: an envelope's
  result.rate_hz = scale * spectra.rate_hz;
  return result;
}

/// Clarity and centre time of a squared envelope from the arrival on, its noise subtracted.
void add_clarity(std::span<const double> squared, double noise_power, double rate_hz, BandDecay& band) {
  double early_50 = 0.0;
  double early_80 = 0.0;
  double all = 0.0;
  double moment = 0.0;
  for (std::size_t n = 0; n < squared.size(); ++n) {
    const double t = (static_cast<double>(n) + 0.5) / rate_hz;
    const double energy = squared[n] - noise_power;
    if (t < 0.05) early_50 += energy;
    if (t < 0.08) early_80 += energy;
    all += energy;
    moment += t * energy;
  }
  if (all <= early_80 || all <= early_50 || early_50 <= 0.0) return;
  band.clarity_50_db = 10.0 * std::log10(early_50 / (all - early_50));
  band.clarity_80_db = 10.0 * std::log10(early_80 / (all - early_80));
  band.centre_time_s = moment / all;
}

BandDecay decay_of(const Spectra& spectra, double arrival_s, std::size_t length, double centre_hz, BandWidth width) {
  BandDecay band;
  band.centre_hz = centre_hz;
  const BandEnergy energy = band_energy(spectra, centre_hz, width, length);
  const double width_hz = centre_hz * 2.0 * std::sinh(half_width_lg(width) * std::numbers::ln10);
  const auto from = static_cast<std::size_t>(std::max(0.0, std::round(arrival_s * energy.rate_hz)));
  const auto to = std::min(energy.squared.size(),
                           static_cast<std::size_t>(static_cast<double>(length) / spectra.rate_hz * energy.rate_hz));
  if (from >= to) return band;
  const auto squared = std::span<const double>{energy.squared}.subspan(from, to - from);
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

std::vector<BandDecay> decays(const Spectra& spectra, double arrival_s, std::size_t length, Band flat,
                              BandWidth width) {
  std::vector<BandDecay> bands;
  const double step_lg = 2.0 * half_width_lg(width);
  const int lowest = width == BandWidth::octave ? -4 : -13;  // 63 and 50 Hz
  const int highest = width == BandWidth::octave ? 3 : 10;   // 8 and 10 kHz
  for (int k = lowest; k <= highest; ++k) {
    const double centre = 1'000.0 * std::pow(10.0, step_lg * k);
    const double edge = std::pow(10.0, half_width_lg(width));
    if (centre / edge < flat.low.value() || centre * edge > flat.high.value()) continue;
    bands.push_back(decay_of(spectra, arrival_s, length, centre, width));
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

std::vector<BandDecay> band_decays(const Takes& takes, double arrival_index, Band flat, BandWidth width) {
  return decays(Spectra{takes}, arrival_index / takes.sample_rate_hz, takes.mean.size(), flat, width);
}

BandDecays band_decays(const Takes& takes, double arrival_index, Band flat) {
  const Spectra spectra{takes};
  const double arrival_s = arrival_index / takes.sample_rate_hz;
  return {decays(spectra, arrival_s, takes.mean.size(), flat, BandWidth::octave),
          decays(spectra, arrival_s, takes.mean.size(), flat, BandWidth::third_octave)};
}

}  // namespace ringtrue
