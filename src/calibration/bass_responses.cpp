#include "bass_responses.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "ringtrue/dsp/real_fft.hpp"
#include "ringtrue/response/deconvolution.hpp"

namespace ringtrue {
namespace {

constexpr double lowest_summed_hz = 15.0;
constexpr double highest_summed_hz = 1'000.0;  // an octave above the highest crossover a rig may have
constexpr double least_taper = 0.05;           // 26 dB of taper are undone; below, noise would win
constexpr double length_grid_s = 0.1;          // a whole and even number of samples at any usual rate
constexpr double shortest_transform_s = 0.8;

bool takes_part(const SpeakerResult& speaker) {
  return speaker.status == Status::ok && speaker.measured.positions.front().arrival_ms.has_value() &&
         speaker.measured.positions.front().level_db.has_value();
}

/// Length that holds every response: the frequencies of a transform are whole multiples of its inverse.
double transform_length_s(std::span<const PositionMeasurement> positions) {
  double longest = shortest_transform_s;
  for (const PositionMeasurement& position : positions) {
    for (const SpeakerMeasurement& speaker : position.speakers) {
      const ImpulseResponse& response = speaker.response;
      if (speaker.heard)
        longest = std::max(longest, static_cast<double>(response.samples.size()) / response.sample_rate_hz);
    }
  }
  return length_grid_s * std::ceil(longest / length_grid_s - 1e-9);
}

std::vector<std::size_t> usable_positions(std::span<const PositionMeasurement> positions,
                                          std::span<const SpeakerResult> speakers) {
  std::vector<std::size_t> usable{0};
  for (std::size_t p = 1; p < positions.size(); ++p) {
    const auto spoilt = [&](std::size_t s) {
      const SpeakerMeasurement& measured = positions[p].speakers[s];
      return takes_part(speakers[s]) && (!measured.heard || !measured.trusted);
    };
    bool all = true;
    for (std::size_t s = 0; s < speakers.size(); ++s) all = all && !spoilt(s);
    if (all) usable.push_back(p);
  }
  return usable;
}

/// Transfer function at multiples k / length_s of the grid, for a speaker that arrives at `arrival_ms`.
std::vector<std::complex<double>> transfer(const ImpulseResponse& response, Band band, double arrival_ms,
                                           double length_s, std::span<const double> frequency_hz) {
  const auto half = static_cast<std::size_t>(std::lround(0.5 * length_s * response.sample_rate_hz));
  const RealFft fft{2 * half};
  const auto samples = std::span<const float>{response.samples}.first(std::min(response.samples.size(), fft.size()));
  const auto bins = spectrum(fft, samples);
  const double delay_s = 1e-3 * (response.first_sample_ms - arrival_ms);
  std::vector<std::complex<double>> result;
  for (const double f : frequency_hz) {
    const auto k = static_cast<std::size_t>(std::lround(f * length_s));
    const auto turn = std::polar(1.0, -2.0 * std::numbers::pi * f * delay_s);
    result.push_back(k < bins.size() ? bins[k] * turn / std::max(band_taper(f, band), least_taper) : 0.0);
  }
  return result;
}

}  // namespace

BassMeasurement measure_bass(const Rig& rig, std::span<const PositionMeasurement> positions,
                             std::span<const SpeakerResult> speakers) {
  const double length_s = transform_length_s(positions);
  BassMeasurement result;
  for (int k = static_cast<int>(std::ceil(lowest_summed_hz * length_s)); k <= highest_summed_hz * length_s; ++k) {
    result.frequency_hz.push_back(k / length_s);
  }
  const auto usable = usable_positions(positions, speakers);
  for (std::size_t s = 0; s < speakers.size(); ++s) {
    result.speakers.emplace_back();
    if (!takes_part(speakers[s])) continue;
    const double arrival_ms = *speakers[s].measured.positions.front().arrival_ms;
    BassResponses responses;
    for (const std::size_t p : usable) {
      responses.push_back(
          transfer(positions[p].speakers[s].response, rig.speakers[s].band, arrival_ms, length_s, result.frequency_hz));
    }
    result.speakers.back() = std::move(responses);
  }
  return result;
}

GridRange grid_range(std::span<const double> frequency_hz, Band band) {
  const auto first = std::ranges::lower_bound(frequency_hz, band.low.value());
  const auto end = std::ranges::upper_bound(frequency_hz, band.high.value());
  return {static_cast<std::size_t>(first - frequency_hz.begin()),
          static_cast<std::size_t>(std::max<std::ptrdiff_t>(0, end - first))};
}

}  // namespace ringtrue
