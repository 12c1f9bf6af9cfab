#include "expected_ring.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "bass.hpp"
#include "ringtrue/dsp/crossover.hpp"
#include "ringtrue/response/deconvolution.hpp"

namespace ringtrue {
namespace {

using Complex = std::complex<double>;

constexpr double least_taper = 0.05;

ArrivedResponse filtered(ArrivedResponse response, const Cascade& cascade, double rate_hz) {
  for (std::size_t k = 0; k < response.bins.size(); ++k) {
    const double f = std::min(ArrivedResponse::frequency_hz(k), 0.5 * rate_hz);
    response.bins[k] *= frequency_response(cascade, Hertz{f}, Hertz{rate_hz});
  }
  return response;
}

Crossover crossover_for(const Rig& rig, std::size_t speaker) {
  const CrossoverChoice choice = crossover_of(rig);
  return crossover_filters(choice.slope, Hertz{choice.frequency_hz[speaker]}, Hertz{rig.interface.sample_rate_hz});
}

/// Adds `part` to `sum`, both on the line of `sum`'s arrival; the tapers of the two sweeps are brought to that of the
/// sum.
void add(const ArrivedResponse& part, Band part_band, Band sum_band, ArrivedResponse& sum) {
  const double late_s = 1e-3 * (part.arrival_ms - sum.arrival_ms);
  for (std::size_t k = 1; k < sum.bins.size(); ++k) {
    const double f = ArrivedResponse::frequency_hz(k);
    if (f > 500.0) break;
    const double taper = band_taper(f, sum_band) / std::max(band_taper(f, part_band), least_taper);
    sum.bins[k] += part.bins[k] * std::polar(taper, -2.0 * std::numbers::pi * f * late_s);
  }
}

bool is_sub(const Rig& rig, std::size_t s) { return rig.speakers[s].kind == SpeakerKind::sub; }

/// The mean departure of the mains' levels from what a state of the crossover would make, below and around it.
double misfit(const Calibration& calibration, const RingResponses& expected, const RingResponses& now) {
  const Rig& rig = calibration.rig;
  const std::vector<double> crossover_hz = crossover_of(rig).frequency_hz;
  double sum = 0.0;
  int bands = 0;
  for (std::size_t s = 0; s < now.size(); ++s) {
    if (is_sub(rig, s) || !now[s] || !expected[s]) continue;
    const auto difference = compare_responses(*expected[s], *now[s], SpeakerKind::main, rig.speakers[s].band);
    for (const BandDifference& band : difference.bands) {
      if (band.frequency_hz > 1.5 * crossover_hz[s] || band.uncertainty_db > 6.0) continue;
      sum += std::min(20.0, std::abs(band.level_db - difference.louder_db));
      ++bands;
    }
  }
  return bands > 0 ? sum / bands : 0.0;
}

}  // namespace

const char* name(CrossoverState state) {
  switch (state) {
    case CrossoverState::none: return "none";
    case CrossoverState::off: return "off";
    case CrossoverState::mains_only: return "filters only";
    case CrossoverState::on: return "on";
  }
  return "none";
}

RingResponses measured_ring(const PositionMeasurement& position, const Calibration& settings_of) {
  RingResponses ring;
  for (std::size_t s = 0; s < settings_of.speakers.size(); ++s) {
    ring.push_back(has_settings(settings_of.speakers[s]) ? at_arrival(position.speakers[s]) : std::nullopt);
  }
  return ring;
}

RingResponses expected_ring(const Calibration& calibration, const RingResponses& before, CrossoverState crossover) {
  const Rig& rig = calibration.rig;
  const double rate_hz = rig.interface.sample_rate_hz;
  RingResponses ring;
  for (std::size_t s = 0; s < before.size(); ++s) {
    ring.push_back(before[s] ? std::optional{through_settings(*before[s], calibration.speakers[s].settings, rate_hz)}
                             : std::nullopt);
  }
  if (crossover == CrossoverState::none || crossover == CrossoverState::off) return ring;
  const RingResponses plain = ring;
  for (std::size_t s = 0; s < ring.size(); ++s) {
    if (!ring[s] || is_sub(rig, s)) continue;
    const Crossover filters = crossover_for(rig, s);
    ring[s] = filtered(*plain[s], filters.high, rate_hz);
    if (crossover != CrossoverState::on) continue;
    for (std::size_t k = 0; k < ring.size(); ++k) {
      if (!plain[k] || !plays_lows_of_mains(rig, k)) continue;
      add(filtered(*plain[k], filters.low, rate_hz), rig.speakers[k].band, rig.speakers[s].band, *ring[s]);
    }
  }
  return ring;
}

CrossoverState find_crossover_state(const Calibration& calibration, const RingResponses& before,
                                    const RingResponses& now) {
  const Rig& rig = calibration.rig;
  bool any_sub = false;
  for (std::size_t s = 0; s < before.size(); ++s) any_sub = any_sub || (plays_lows_of_mains(rig, s) && before[s]);
  if (!rig.bass_management || !any_sub) return CrossoverState::none;
  CrossoverState best = CrossoverState::off;
  double least = misfit(calibration, expected_ring(calibration, before, best), now);
  for (const CrossoverState state : {CrossoverState::mains_only, CrossoverState::on}) {
    const double other = misfit(calibration, expected_ring(calibration, before, state), now);
    if (other >= least) continue;
    least = other;
    best = state;
  }
  return best;
}

std::optional<double> bass_sum_db(const Calibration& calibration, const RingResponses& ring, CrossoverState state,
                                  std::size_t main) {
  const Rig& rig = calibration.rig;
  if (!ring[main] || is_sub(rig, main) || state == CrossoverState::none) return std::nullopt;
  const double rate_hz = rig.interface.sample_rate_hz;
  const Crossover filters = crossover_for(rig, main);
  ArrivedResponse sum = state == CrossoverState::off ? filtered(*ring[main], filters.high, rate_hz) : *ring[main];
  bool any = state == CrossoverState::on;
  for (std::size_t k = 0; k < ring.size() && state != CrossoverState::on; ++k) {
    if (!ring[k] || !plays_lows_of_mains(rig, k)) continue;
    add(filtered(*ring[k], filters.low, rate_hz), rig.speakers[k].band, rig.speakers[main].band, sum);
    any = true;
  }
  if (!any) return std::nullopt;
  const double crossover_hz = crossover_of(rig).frequency_hz[main];
  double power = 0.0;
  double weights = 0.0;
  for (std::size_t k = 1; k < sum.bins.size(); ++k) {
    const double f = ArrivedResponse::frequency_hz(k);
    if (f < std::max(0.5 * crossover_hz, rig.speakers[main].band.low.value()) || f > 2.0 * crossover_hz) continue;
    power += std::norm(sum.bins[k]) / f;
    weights += 1.0 / f;
  }
  if (!(power > 0.0)) return std::nullopt;
  return 10.0 * std::log10(power / weights);
}

}  // namespace ringtrue
