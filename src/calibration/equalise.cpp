#include "equalise.hpp"

#include <algorithm>
#include <cmath>

#include "correction_work.hpp"
#include "expected_response.hpp"
#include "ringtrue/calibration/correction_firs.hpp"
#include "ringtrue/core/parallel.hpp"
#include "ringtrue/core/statistics.hpp"
#include "ringtrue/correction/fir_curve.hpp"
#include "ringtrue/correction/fit.hpp"

namespace ringtrue {
namespace {

constexpr double usual_transition_hz = 250.0;    // common practice, where the room's size or decay is not known
constexpr double transition_re_schroeder = 2.0;  // his first, stricter bound of 1954, from memory: 4000 sqrt(T/V)
constexpr std::array<double, 2> sensible_transition_hz{150.0, 400.0};
constexpr double judged_from_hz = 80.0;  // at single positions
constexpr double judged_up_to_hz = 2'000.0;
constexpr double most_spot_ratio = 1.05;  // how much less even a single position may become
constexpr int most_tries = 12;
constexpr int tries_alone = 4;       // with less for the harmed one of a pair only
constexpr double less_of_it = 0.75;  // of what was wanted, when one does

/// How all of them are corrected.
struct Plan {
  CorrectionOptions options;
  EqualiserLimits limits;
  Hertz transition;
};

CorrectionResult common_facts(const Rig& rig, const CorrectionOptions& options, const Calibration& calibration) {
  CorrectionResult result;
  result.target = options.target.name;
  const auto shown = shown_third_octaves_hz();
  result.third_octave_hz.assign(shown.begin(), shown.end());
  if (options.transition_hz) {
    result.transition_hz = *options.transition_hz;
    result.transition_from = "option";
  } else if (const auto schroeder = schroeder_hz(rig, calibration.speakers)) {
    const auto [least_hz, most_hz] = sensible_transition_hz;
    result.transition_hz = std::round(std::clamp(transition_re_schroeder * *schroeder, least_hz, most_hz));
    result.transition_from = "room";
  } else {
    result.transition_hz = usual_transition_hz;
    result.transition_from = "guess";
  }
  result.fir_taps = options.fir_taps;
  result.fir_mixed_phase = options.fir_mixed_phase;
  return result;
}

EqualiserLimits limits_of(const Interface& interface) {
  return {.bands = interface.eq_bands,
          .gain_range_db = interface.eq_gain_range_db,
          .gain_step_db = interface.eq_gain_step_db,
          .q_range = interface.eq_q_range,
          .frequency_range_hz = {interface.eq_frequency_range_hz[0],
                                 std::min(interface.eq_frequency_range_hz[1], 0.45 * interface.sample_rate_hz)},
          .sample_rate_hz = interface.sample_rate_hz};
}

/// What the filters do, from the whole steady-state responses rather than the windowed ones they were fitted to.
/// @param gain  of the filters, per cell, dB
SpeakerCorrection expected(const CorrectionWork& work, const TargetCurve& target, std::span<const double> gain) {
  SpeakerCorrection result;
  result.band_hz = {work.band.low.value(), work.band.high.value()};
  result.target_db = target_levels_db(work, target, shown_third_octaves_hz());
  for (const PowerCells& cells : work.cells) {
    if (result.before_db.empty()) {
      result.level_change_db = cells.level_db(work.level_band, gain) - cells.level_db(work.level_band);
    }
    result.before_db.push_back(third_octave_levels_db(cells, {}));
    result.after_db.push_back(third_octave_levels_db(cells, gain));
    for (double& level : result.before_db.back()) level -= work.wanted.level_db;
    for (double& level : result.after_db.back()) level -= work.wanted.level_db;
  }
  result.deviation_before_db = deviation_db(power_average_db(result.before_db), result.target_db, result.band_hz);
  result.deviation_after_db = deviation_db(power_average_db(result.after_db), result.target_db, result.band_hz);
  return result;
}

/// The largest factor by which filters make the response at any one mic position less even, up to 2 kHz: against the
/// target, and for a main also against the target without the speaker's own ends.
double worst_spot_ratio(const SpeakerCorrection& correction, const TargetCurve& curve) {
  const bool is_sub = correction.band_hz[1] < 2.0 * judged_from_hz;
  const std::array<double, 2> band_hz{is_sub ? correction.band_hz[0] : std::max(correction.band_hz[0], judged_from_hz),
                                      std::min(correction.band_hz[1], judged_up_to_hz)};
  double worst = 0.0;
  const auto compare = [&](std::span<const double> target, const std::array<double, 2>& judged_hz) {
    for (std::size_t p = 0; p < correction.before_db.size(); ++p) {
      const double before = deviation_db(correction.before_db[p], target, judged_hz);
      const double after = deviation_db(correction.after_db[p], target, judged_hz);
      worst = std::max(worst, after / std::max(before, 0.1));
    }
  };
  compare(correction.target_db, band_hz);
  if (is_sub) return worst;
  std::vector<double> plain_db;
  for (const double f : shown_third_octaves_hz()) plain_db.push_back(target_db(curve, f));
  compare(plain_db, {judged_from_hz, band_hz[1]});
  return worst;
}

/// Sets filters, or impulse responses, for what is wanted of a single speaker or a pair.
void design(std::span<const std::size_t> group, std::span<const WantedCorrection> wanted, const Plan& plan,
            std::span<const CorrectionWork> works, Calibration& calibration) {
  const Hertz rate{plan.limits.sample_rate_hz};
  const auto centres_hz = PowerCells::centres_hz();
  if (plan.options.fir_taps > 0) {
    const auto taps = static_cast<std::size_t>(plan.options.fir_taps);
    const auto curves = fir_curves(wanted, plan.transition);
    for (std::size_t i = 0; i < group.size(); ++i) {
      const double most_db = std::max(0.0, plan.limits.gain_range_db[1]);
      const GainCurve curve = bounded_curve(curves[i], most_db, taps, rate);
      const Fir fir = minimum_phase_fir(curve, taps, rate);
      auto& correction = calibration.speakers[works[group[i]].speaker].correction;
      correction = expected(works[group[i]], plan.options.target, gain_db(fir, centres_hz, rate));
      correction->largest_boost_db = std::max(0.0, largest_gain_db(fir));
      correction->fir_gain_db = curve.gain_db;
    }
    return;
  }
  const auto filters = fit_equalisers(wanted, plan.limits, plan.transition);
  for (std::size_t i = 0; i < group.size(); ++i) {
    SpeakerResult& speaker = calibration.speakers[works[group[i]].speaker];
    speaker.settings.equaliser = filters[i];
    speaker.correction = expected(works[group[i]], plan.options.target, gain_db(filters[i], centres_hz, rate));
    speaker.correction->largest_boost_db = largest_gain_db(filters[i], rate);
  }
}

/// Corrects a single speaker or a pair. Where that would make one mic position worse, less is corrected.
void correct_group(std::span<const std::size_t> group, const Plan& plan, std::vector<CorrectionWork>& works,
                   Calibration& calibration) {
  std::vector<WantedCorrection> wanted;
  for (const std::size_t w : group) {
    CorrectionWork& work = works[w];
    const auto target = target_levels_db(work, plan.options.target, work.response.frequency_hz);
    Restraint restraint{plan.limits.gain_range_db, plan.transition.value(), work.band};
    for (const double f : work.response.frequency_hz) restraint.low_end_db.push_back(low_end_db(work.ends, f));
    work.wanted = wanted_correction(work.response, target, restraint);
    wanted.push_back(work.wanted);
  }
  for (int tries = 0; tries < most_tries; ++tries) {
    design(group, wanted, plan, works, calibration);
    std::vector<bool> harmed(group.size());
    for (std::size_t i = 0; i < group.size(); ++i) {
      const SpeakerCorrection& correction = *calibration.speakers[works[group[i]].speaker].correction;
      harmed[i] = worst_spot_ratio(correction, plan.options.target) > most_spot_ratio;
    }
    const bool any = std::ranges::find(harmed, true) != harmed.end();
    if (!any) return;
    // Above the transition the two of a pair share a gain: one's wish alone may be what harms the other. At last
    // nothing is corrected.
    const bool shared = plan.options.fir_taps > 0 || tries >= tries_alone;
    for (std::size_t i = 0; i < group.size(); ++i) {
      if (!harmed[i] && !shared) continue;
      for (double& gain : wanted[i].gain_db) gain *= tries + 2 < most_tries ? less_of_it : 0.0;
    }
  }
}

}  // namespace

void set_equalisers(const Rig& rig, std::span<const PositionMeasurement> positions, const CorrectionOptions& options,
                    Calibration& calibration) {
  if ((rig.interface.eq_bands < 1 && options.fir_taps == 0) || !options.equaliser) return;
  calibration.correction = common_facts(rig, options, calibration);
  const Plan plan{options, limits_of(rig.interface), Hertz{calibration.correction->transition_hz}};
  auto works = correction_works(rig, positions, options, plan.transition, calibration);
  if (options.fir_taps > 0 && !works.empty()) {
    calibration.correction->fir_frequency_hz = works.front().response.frequency_hz;
  }
  const auto groups = correction_groups(rig, works);
  parallel_for(groups.size(), options.threads,
               [&](std::size_t g) { correct_group(groups[g], plan, works, calibration); });
}

void apply_equalisers(std::span<const PositionMeasurement> positions, const Calibration& calibration,
                      BassMeasurement& bass) {
  const Hertz rate{calibration.rig.interface.sample_rate_hz};
  const bool by_fir = calibration.correction && calibration.correction->fir_taps > 0;
  const auto firs = by_fir ? correction_firs(calibration, 0, positions) : std::vector<Fir>{};
  for (std::size_t s = 0; s < calibration.speakers.size(); ++s) {
    if (!bass.speakers[s]) continue;
    const Cascade sections = sections_of(calibration.speakers[s].settings.equaliser, rate);
    for (std::size_t k = 0; k < bass.frequency_hz.size(); ++k) {
      const Hertz f{bass.frequency_hz[k]};
      const auto h = by_fir ? frequency_response(firs[s], f, rate) : frequency_response(sections, f, rate);
      for (auto& position : *bass.speakers[s]) position[k] *= h;
    }
  }
}

double equalised_level_db(const SpeakerResult& speaker) {
  return *speaker.measured.positions.front().level_db +
         (speaker.correction ? speaker.correction->level_change_db : 0.0);
}

}  // namespace ringtrue
