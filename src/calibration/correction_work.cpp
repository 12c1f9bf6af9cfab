#include "correction_work.hpp"

#include <algorithm>
#include <cmath>

#include "heard_responses.hpp"
#include "pairs.hpp"
#include "ringtrue/core/parallel.hpp"
#include "ringtrue/core/statistics.hpp"
#include "ringtrue/response/deconvolution.hpp"

namespace ringtrue {
namespace {

constexpr double highest_corrected_hz = 8'000.0;

/// From the frequencies 3 and 10 dB down: |H|^2 = 1 / (1 + x^2n) is 10 dB down where x^2n = 9.
double order_between(double end_3_db_hz, const std::optional<double>& end_10_db_hz) {
  if (!end_10_db_hz) return 2.0;
  const double octaves = std::abs(std::log(end_3_db_hz / *end_10_db_hz));
  return std::clamp(std::log(9.0) / (2.0 * std::max(octaves, 1e-3)), 1.0, 8.0);
}

NaturalEnds natural_ends(const SpeakerResult& speaker, const CorrectionOptions& options) {
  const BandEnds& ends = speaker.measured.band_ends;
  NaturalEnds result;
  result.low_hz = ends.low_3_db_hz.value_or(0.0);
  if (ends.low_3_db_hz) result.low_order = order_between(*ends.low_3_db_hz, ends.low_10_db_hz);
  if (options.low_end_hz) result = {.low_hz = *options.low_end_hz, .low_order = 4.0};
  if (speaker.kind == SpeakerKind::main) return result;
  result.high_hz = ends.high_3_db_hz.value_or(0.0);
  if (ends.high_3_db_hz) result.high_order = order_between(*ends.high_3_db_hz, ends.high_10_db_hz);
  return result;
}

Band corrected_band(const Rig& rig, std::size_t s, const NaturalEnds& ends) {
  const Speaker& speaker = rig.speakers[s];
  const bool is_sub = speaker.kind == SpeakerKind::sub;
  const Band flat = flat_band(speaker.band);
  const auto& bass = rig.bass_management;
  const double crossover_hz = bass ? speaker.crossover_hz.value_or(bass->crossover_hz) : 0.0;
  double low = std::max({flat.low.value(), rig.interface.eq_frequency_range_hz[0], 0.8 * ends.low_hz});
  double high = std::min({flat.high.value(), rig.interface.eq_frequency_range_hz[1], highest_corrected_hz});
  if (!is_sub && !mains_full_range(rig)) low = std::max(low, 0.7 * crossover_hz);
  if (is_sub) high = std::min(high, plays_lows_of_mains(rig, s) ? 1.6 * crossover_hz : 150.0);
  if (is_sub && ends.high_hz > 0.0) high = std::min(high, 1.1 * ends.high_hz);
  return {Hertz{low}, Hertz{std::max(low, high)}};
}

/// How the mains fall off in the treble by themselves, one slope for all so that they stay matched, dB per octave.
double common_treble_slope(std::span<const CorrectionWork> works, std::span<const SpeakerResult> speakers,
                           const TargetCurve& target) {
  std::vector<double> slopes;
  for (const CorrectionWork& work : works) {
    if (speakers[work.speaker].kind != SpeakerKind::main) continue;
    double reference = 0.0, count = 0.0, along = 0.0, square = 0.0;
    const auto level = [&](std::size_t k) {
      return work.response.level_db[k] - target_db(target, work.response.frequency_hz[k]);
    };
    for (std::size_t k = 0; k < work.response.frequency_hz.size(); ++k) {
      const double f = work.response.frequency_hz[k];
      if (f < 500.0 || f > 2'000.0) continue;
      reference += level(k);
      count += 1.0;
    }
    for (std::size_t k = 0; k < work.response.frequency_hz.size() && count > 0.0; ++k) {
      const double f = work.response.frequency_hz[k];
      if (f <= 2'000.0 || f > work.band.high.value()) continue;
      const double octaves = std::log2(f / 2'000.0);
      along += octaves * (level(k) - reference / count);
      square += octaves * octaves;
    }
    if (square > 0.0) slopes.push_back(along / square);
  }
  return slopes.empty() ? 0.0 : std::clamp(median(std::move(slopes)), -3.0, 0.0);
}

std::vector<CorrectionWork> taking_part(const Rig& rig, std::span<const PositionMeasurement> positions,
                                        const CorrectionOptions& options, const Calibration& calibration) {
  std::vector<CorrectionWork> works;
  for (std::size_t s = 0; s < calibration.speakers.size(); ++s) {
    const SpeakerResult& speaker = calibration.speakers[s];
    if (speaker.status != Status::ok || !speaker.measured.positions.front().level_db) continue;
    CorrectionWork work;
    work.speaker = s;
    work.responses = heard_responses(rig, positions, s);
    work.ends = natural_ends(speaker, options);
    work.band = corrected_band(rig, s, work.ends);
    work.level_band = level_band_of(speaker.kind);
    const bool worth_it = work.band.high.value() > 1.26 * work.band.low.value();
    if (!work.responses.empty() && worth_it) works.push_back(std::move(work));
  }
  return works;
}

}  // namespace

/// 2000 sqrt(T / V). Source: M. R. Schroeder, "The 'Schroeder frequency' revisited", J. Acoust. Soc. Am. 99 (1996).
std::optional<double> schroeder_hz(const Rig& rig, std::span<const SpeakerResult> speakers) {
  std::vector<double> decays;
  for (const SpeakerResult& speaker : speakers) {
    if (speaker.kind != SpeakerKind::main || speaker.status != Status::ok) continue;
    if (const auto& decay = speaker.measured.positions.front().decay_time_s) decays.push_back(*decay);
  }
  if (!rig.room.size_m || decays.empty()) return std::nullopt;
  const auto [length, width, height] = *rig.room.size_m;
  return 2'000.0 * std::sqrt(median(std::move(decays)) / (length * width * height));
}

std::vector<double> target_levels_db(const CorrectionWork& work, const TargetCurve& target,
                                     std::span<const double> frequency_hz) {
  std::vector<double> levels;
  for (const double f : frequency_hz) levels.push_back(target_db(target, f) + natural_ends_db(work.ends, f));
  return levels;
}

std::vector<CorrectionWork> correction_works(const Rig& rig, std::span<const PositionMeasurement> positions,
                                             const CorrectionOptions& options, Hertz transition,
                                             const Calibration& calibration) {
  std::vector<CorrectionWork> works = taking_part(rig, positions, options, calibration);
  parallel_for(works.size(), options.threads, [&](std::size_t w) {
    const Band whole{Hertz{20.0}, Hertz{std::min(20'000.0, 0.45 * works[w].responses.front().sample_rate_hz)}};
    for (const HeardResponse& response : works[w].responses) works[w].cells.emplace_back(response);
    works[w].response = response_to_correct(works[w].responses, whole, transition);
  });
  const double slope = common_treble_slope(works, calibration.speakers, options.target);
  for (CorrectionWork& work : works) {
    if (rig.speakers[work.speaker].kind == SpeakerKind::main) work.ends.treble_db_per_octave = slope;
  }
  return works;
}

std::vector<std::vector<std::size_t>> correction_groups(const Rig& rig, std::span<const CorrectionWork> works) {
  std::vector<bool> takes_part(rig.speakers.size());
  std::vector<std::size_t> work_of(rig.speakers.size());
  for (std::size_t w = 0; w < works.size(); ++w) {
    takes_part[works[w].speaker] = true;
    work_of[works[w].speaker] = w;
  }
  auto groups = left_right_groups(rig, takes_part);
  for (auto& group : groups) {
    for (std::size_t& member : group) member = work_of[member];
  }
  for (std::size_t w = 0; w < works.size(); ++w) {
    if (rig.speakers[works[w].speaker].kind == SpeakerKind::sub) groups.push_back({w});
  }
  return groups;
}

}  // namespace ringtrue
