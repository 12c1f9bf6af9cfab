#include "ringtrue/response/harmonics.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>
#include <span>

#include "log_width.hpp"
#include "ringtrue/dsp/real_fft.hpp"

namespace ringtrue {
namespace {

constexpr double longest_lead_s = 0.02;  // of the gate: the taper at the sweep's low end rings both ways
constexpr double lead_share = 0.2;       // of the time between order 3 and order 2, for short sweeps
constexpr double longest_gate_s = 0.2;
constexpr double gap_used = 0.85;  // of the time between order 3 and order 2
constexpr double shortest_gate_s = 0.02;
constexpr double fade_share = 0.25;       // of the gate, at its end
constexpr double grid_hz = 3.0;           // zero-padded: a third octave at 31.5 Hz is 7 Hz wide
constexpr double least_over_noise = 2.0;  // 3 dB

/// Rises over its lead to the gate's zero, falls over its last quarter.
double gate(double t_s, double lead_s, double length_s) {
  const double rise = std::clamp(2.0 * (t_s + lead_s) / lead_s, 0.0, 1.0);
  const double fall = std::clamp((length_s - t_s) / (fade_share * length_s), 0.0, 1.0);
  const auto half_cosine = [](double x) {  // most of the gate is 1; cosines cost
    return x < 1.0 ? 0.5 - 0.5 * std::cos(std::numbers::pi * x) : 1.0;
  };
  return half_cosine(rise) * half_cosine(fall);
}

/// The gate sample by sample, `lead` of them before its zero.
std::vector<float> gate_samples(double lead_s, double length_s, double rate_hz) {
  const auto lead = static_cast<double>(static_cast<std::size_t>(lead_s * rate_hz));
  std::vector<float> samples(static_cast<std::size_t>((lead_s + length_s) * rate_hz));
  for (std::size_t n = 0; n < samples.size(); ++n) {
    samples[n] = static_cast<float>(gate((static_cast<double>(n) - lead) / rate_hz, lead_s, length_s));
  }
  return samples;
}

/// Power spectrum of what stands in a gate, to be averaged over log frequency.
class GatedPower {
 public:
  /// @param first   sample of early followed by late at which the gate begins
  /// @param widths  of the bins in log frequency; they outlive this object
  GatedPower(std::span<const float> early, std::span<const float> late, std::ptrdiff_t first,
             std::span<const float> gains, const SingleFft& fft, std::span<const float> widths)
      : power_(fft.bin_count()), widths_{widths} {
    Scratch<float> x(fft.size());
    std::fill(x.begin(), x.end(), 0.0F);
    const auto take = [&](std::span<const float> from, std::ptrdiff_t begins) {  // sample 0 of `from` is `begins`
      const std::ptrdiff_t begin = std::max(first, begins);
      const std::ptrdiff_t end = std::min(first + std::ssize(gains), begins + std::ssize(from));
      for (std::ptrdiff_t n = begin; n < end; ++n) {
        x[static_cast<std::size_t>(n - first)] =
            from[static_cast<std::size_t>(n - begins)] * gains[static_cast<std::size_t>(n - first)];
      }
    };
    take(early, 0);
    take(late, std::ssize(early));
    SingleSpectrum bins(fft.bin_count());
    fft.forward(x, bins);
    for (std::size_t k = 0; k < bins.size(); ++k) power_[k] = std::norm(bins[k]);
  }

  /// Mean over log frequency; of the bins at the band's edges the part inside counts.
  [[nodiscard]] double mean(double low_hz, double high_hz, double bin_hz) const {
    const auto bin_with = [&](double f) { return static_cast<std::size_t>(std::floor(f / bin_hz + 0.5)); };
    const std::size_t first = bin_with(low_hz);
    const std::size_t last = bin_with(high_hz);
    if (first < 1 || last >= power_.size()) return 0.0;  // no band that a sweep drives
    const auto at = [&](std::size_t k) { return static_cast<double>(power_[k]); };
    if (first == last) return at(first);
    const double lower = std::log((static_cast<double>(first) + 0.5) * bin_hz / low_hz);
    const double upper = std::log(high_hz / ((static_cast<double>(last) - 0.5) * bin_hz));
    using Bins = Eigen::Map<const Eigen::VectorXf>;
    const auto between = static_cast<Eigen::Index>(last - first - 1);
    const float whole = Bins{widths_.data() + first + 1, between}.dot(Bins{power_.data() + first + 1, between});
    return (lower * at(first) + static_cast<double>(whole) + upper * at(last)) / std::log(high_hz / low_hz);
  }

 private:
  Scratch<float> power_;
  std::span<const float> widths_;
};

}  // namespace

double harmonic_lead_s(Seconds rate_constant, int order) { return rate_constant.value() * std::log(order); }

double harmonics_need_s(Seconds rate_constant) { return harmonic_lead_s(rate_constant, 3) + 2.0 * longest_lead_s; }

double compression_uncertainty_db(double third_harmonic) {
  return 20.0 * std::log10(1.0 + 3.0 * third_harmonic) / std::numbers::sqrt3;
}

std::optional<double> compression_uncertainty_db(std::span<const HarmonicReading> readings, Band band) {
  double power = 0.0;
  int count = 0;
  for (const HarmonicReading& reading : readings) {
    if (reading.frequency_hz < band.low.value() || reading.frequency_hz > band.high.value()) continue;
    ++count;
    const double supposed_db = 20.0 * std::log10(supposed_third_harmonic);
    const double unseen_db = reading.noise_db[1].value_or(supposed_db) + 10.0 * std::log10(least_over_noise);
    const double below_db = std::min(supposed_db, unseen_db);
    power += std::pow(10.0, 0.1 * reading.level_db[1].value_or(below_db));
  }
  if (count == 0) return {};
  return compression_uncertainty_db(std::sqrt(power / count));
}

std::vector<HarmonicReading> harmonic_readings(const Takes& takes, const Takes& early, double arrival_index,
                                               Seconds rate_constant, Band flat) {
  const double rate_hz = takes.sample_rate_hz;
  const double gap_s = harmonic_lead_s(rate_constant, 3) - harmonic_lead_s(rate_constant, 2);
  const double lead_s = std::min(longest_lead_s, lead_share * gap_s);
  const double length_s = std::min(longest_gate_s, gap_used * gap_s - lead_s);
  const double arrival = arrival_index + static_cast<double>(early.mean.size());
  const double first_needed = arrival - (harmonic_lead_s(rate_constant, 3) + lead_s) * rate_hz;
  if (length_s < shortest_gate_s || first_needed < 0.0) return {};

  const SingleFft fft{
      good_fft_size(static_cast<std::size_t>(std::max(rate_hz / grid_hz, (lead_s + length_s) * rate_hz + 2.0)))};
  const double bin_hz = rate_hz / static_cast<double>(fft.size());
  const std::vector<float> gains = gate_samples(lead_s, length_s, rate_hz);
  std::vector<float> widths(fft.bin_count());
  for (std::size_t k = 1; k < widths.size(); ++k) widths[k] = static_cast<float>(log_width_of_bin(k));
  std::vector<GatedPower> heard;
  std::vector<GatedPower> noise;
  for (const int order : {1, 2, 3}) {
    const double at = arrival - harmonic_lead_s(rate_constant, order) * rate_hz;
    const std::ptrdiff_t first = std::lround(at) - static_cast<std::ptrdiff_t>(lead_s * rate_hz);
    heard.emplace_back(early.mean, takes.mean, first, gains, fft, widths);
    noise.emplace_back(early.noise, takes.noise, first, gains, fft, widths);
  }

  std::vector<HarmonicReading> readings;
  const double edge = std::pow(10.0, 0.05);
  for (int k = -15; k <= 10; ++k) {  // 31.5 Hz to 10 kHz
    const double centre = 1'000.0 * std::pow(10.0, 0.1 * k);
    if (centre / edge < flat.low.value() || 2.0 * centre * edge > flat.high.value()) continue;
    const double fundamental =
        heard[0].mean(centre / edge, centre * edge, bin_hz) - noise[0].mean(centre / edge, centre * edge, bin_hz);
    if (fundamental <= 0.0) continue;
    HarmonicReading reading;
    reading.frequency_hz = centre;
    for (const std::size_t i : {0U, 1U}) {
      const double order = static_cast<double>(i) + 2.0;
      if (order * centre * edge > flat.high.value()) continue;
      const double rest = noise[i + 1].mean(order * centre / edge, order * centre * edge, bin_hz);
      const double product = heard[i + 1].mean(order * centre / edge, order * centre * edge, bin_hz) - rest;
      reading.noise_db[i] = 10.0 * std::log10(std::max(rest, 1e-20 * fundamental) / fundamental);
      if (product > least_over_noise * rest) reading.level_db[i] = 10.0 * std::log10(product / fundamental);
    }
    readings.push_back(reading);
  }
  return readings;
}

}  // namespace ringtrue
