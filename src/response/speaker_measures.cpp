#include "ringtrue/response/speaker_measures.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <optional>
#include <vector>

#include "ringtrue/response/arrival.hpp"
#include "ringtrue/response/decay.hpp"
#include "ringtrue/response/deconvolution.hpp"
#include "ringtrue/response/level.hpp"
#include "ringtrue/response/polarity.hpp"
#include "ringtrue/response/subwoofer_model.hpp"

namespace ringtrue {
namespace {

/// Octaves whose whole band lies inside `driven`. Source: IEC 61260-1:2014, mid-bands 1000 G^k, G = 10^0.3.
std::vector<OctaveReading> octave_readings(const StretchLevels& levels, Band driven) {
  std::vector<OctaveReading> readings;
  for (int k = -5; k <= 4; ++k) {
    const double centre = 1'000.0 * std::pow(10.0, 0.3 * k);
    const Band octave{Hertz{centre * std::pow(10.0, -0.15)}, Hertz{centre * std::pow(10.0, 0.15)}};
    if (octave.low < driven.low || octave.high > driven.high) continue;
    if (const auto level = levels.level(octave)) {
      readings.push_back({centre, level->level_db.value, level->signal_to_noise_db, level->level_db.uncertainty});
    } else if (const auto noise_db = levels.noise_db(octave)) {  // lost in the noise: it cannot be louder than that
      readings.push_back({centre, *noise_db, 0.0, std::numeric_limits<double>::infinity()});
    }
  }
  return readings;
}

/// A room's answer is over after a while; what is as loud in the window's second half is a hum that both takes share.
/// A short window does not tell: bass still builds up in it.
bool dies_away(const Takes& takes, Band band) {
  constexpr double quieter_db_s = 16.0;  // between halves, by their length: a decay time of 3.7 s leaves that
  constexpr double short_s = 0.3;
  const std::size_t half = takes.mean.size() / 2;
  const double half_s = static_cast<double>(half) / takes.sample_rate_hz;
  if (2.0 * half_s < short_s) return true;
  const auto early = StretchLevels{takes, 0, half}.level(band);
  const auto late = StretchLevels{takes, half, 2 * half}.level(band);
  return early && (!late || late->level_db.value < early->level_db.value - quieter_db_s * half_s);
}

/// A main that has no treble but is loud below 120 Hz: its cable may lead to the sub.
bool plays_bass_only(const Takes& takes, Band flat) {
  const Band bass{std::max(flat.low, Hertz{40.0}), Hertz{std::max(120.0, 1.5 * flat.low.value())}};
  const StretchLevels levels{takes, 0, takes.mean.size()};
  const auto level = levels.level(bass);
  const auto middle = levels.level({Hertz{500.0}, Hertz{2e3}});
  if (!level || level->signal_to_noise_db < 10.0 || !dies_away(takes, bass)) return false;
  return !middle || middle->level_db.value < level->level_db.value - 25.0;
}

/// What a subwoofer's level may lack because the bass had not died away when the response ended: half of what the last
/// third of it still adds, and what the band's edges leave.
double unended_db(const Takes& takes, std::size_t from, const BandLevel& level) {
  constexpr double edges_db = 0.02;
  const std::size_t to = from + 2 * (takes.mean.size() - from) / 3;
  const auto shorter = StretchLevels{takes, from, to}.level(level_band_of(SpeakerKind::sub));
  const double adds_db = shorter ? level.level_db.value - shorter->level_db.value : 1.0;
  return std::hypot(0.5 * adds_db, edges_db);
}

/// The level of nothing but the noise, in the band of a sub's level.
double noise_level_db(const Takes& takes, Band band) {
  Takes noise_alone = takes;
  noise_alone.mean = takes.noise;
  noise_alone.noise.assign(takes.noise.size(), 0.0F);
  const auto noise = pink_band_level(noise_alone, band, 0, takes.mean.size());
  return noise ? noise->level_db.value : -300.0;
}

}  // namespace

SpeakerMeasurement measure_speaker(const Takes& takes, SpeakerKind kind, Band sweep_band, double nominal_rate_hz,
                                   const BandFilters& filters) {
  SpeakerMeasurement result;
  const Band flat = flat_band(sweep_band);
  const double to_ms = 1e3 / takes.sample_rate_hz;
  const TakeSpectra spectra{takes};
  std::optional<Arrival> arrival;
  if (kind == SpeakerKind::sub) {
    if (const auto onset = subwoofer_onset(takes, sweep_band)) {
      arrival = onset->arrival;
      result.sign = onset->sign;
    } else {
      constexpr double onset_needs_db = 12.0;  // what stands out of the noise, in round figures
      result.direct_db = noise_level_db(takes, level_band_of(kind)) + onset_needs_db;
    }
  } else {
    arrival = full_range_arrival(takes, spectra, flat);
    result.bass_only = (!arrival || arrival->signal_to_noise_db < 30.0) && plays_bass_only(takes, flat);
    if (result.bass_only) {  // what it plays is kept: it may be what the sub plays
      result.response = {takes.sample_rate_hz, -static_cast<double>(takes.zero_index) * to_ms, {}};
      result.response.samples = takes.mean;
      return result;
    }
    result.direct_db = arrival ? arrival->height_db : detection_limit_db(takes, spectra, flat);
    if (arrival) result.sign = woofer_sign(takes, arrival->index, flat);
  }
  if (!arrival) return result;

  const Band level_band = level_band_of(kind);
  const double lead_s = kind == SpeakerKind::sub ? 0.06 : 0.01;
  const auto from = static_cast<std::size_t>(std::max(0.0, std::floor(arrival->index - lead_s * takes.sample_rate_hz)));
  const StretchLevels levels{takes, from, takes.mean.size()};
  const auto level = levels.level(level_band);
  if (!level) return result;

  result.heard = true;
  const double zero = static_cast<double>(takes.zero_index);
  result.arrival_ms = Estimate{(arrival->index - zero) * to_ms, arrival->uncertainty_samples * to_ms};
  result.dispersion_ms = arrival->dispersion_samples * to_ms;
  // Beside noise: what the window's ends and the bins' edges leave (0.0025 dB in simulated rooms without noise).
  constexpr double level_floor_db = 0.0025;
  result.level_db = Estimate{level->level_db.value, std::hypot(level->level_db.uncertainty, level_floor_db)};
  if (kind == SpeakerKind::sub) {
    result.level_db->uncertainty = std::hypot(result.level_db->uncertainty, unended_db(takes, from, *level));
  }
  result.signal_to_noise_db = level->signal_to_noise_db;
  result.decay_time_s = mid_decay_time_s(takes, spectra, arrival->index, flat);
  // A sub's lowest octave counts although its sweep fades in there: its noise is wanted, in the same proportion.
  result.octaves = octave_readings(levels, kind == SpeakerKind::sub ? sweep_band : flat);
  result.decays = band_decays(takes, arrival->index, flat, filters);
  if (kind == SpeakerKind::main) result.reflections = early_reflections(takes, arrival->index);
  // At the recorder's nominal rate, with the arrival exactly in its place; the clock's ppm are left in the pitch.
  result.response.sample_rate_hz = nominal_rate_hz;
  result.response.first_sample_ms = result.arrival_ms->value - arrival->index * 1e3 / nominal_rate_hz;
  result.response.samples = takes.mean;
  return result;
}

}  // namespace ringtrue
