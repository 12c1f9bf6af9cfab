#include "ringtrue/calibration/verification.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <string_view>

#include "common_offset.hpp"
#include "decimals.hpp"
#include "equaliser_slip.hpp"
#include "expected_ring.hpp"
#include "partner.hpp"
#include "ringtrue/calibration/mistypes.hpp"
#include "ringtrue/core/errors.hpp"
#include "verification_words.hpp"

namespace ringtrue {
namespace {

constexpr double allowed_uncertainties = 4.0;
constexpr double unlike = 0.4;  // below this likeness it is not the same speaker's sound any more

Judged judged(double error, double uncertainty, double tolerance) {
  return {error, uncertainty, std::max(tolerance, allowed_uncertainties * uncertainty)};
}

/// What is known of one speaker before it is judged: how far it departs from what the settings should make of it.
struct Found {
  bool heard = false;
  bool compared = false;  // by its response; otherwise by arrival, level and polarity alone
  double later_ms = 0.0;
  double later_uncertainty_ms = 0.0;
  double louder_db = 0.0;
  double louder_uncertainty_db = 0.0;
  std::optional<bool> inverted;
  std::vector<BandDifference> bands;
  std::optional<EqualiserSlip> slip;
};

struct Ring {
  RingResponses before;
  RingResponses now;
  RingResponses expected;
  CrossoverState crossover = CrossoverState::none;
};

/// The mean gain of an equaliser over the bands of level_db.
double equaliser_level_db(const SpeakerResult& speaker, const Rig& rig) {
  const Band band = level_band_of(speaker.kind);
  double power = 0.0;
  constexpr int points = 24;
  for (int i = 0; i < points; ++i) {
    const double f = band.low.value() * std::pow(band.high.value() / band.low.value(), (i + 0.5) / points);
    power += std::pow(10.0, equaliser_gain_db(speaker.settings.equaliser, f, rig.interface.sample_rate_hz) / 10.0);
  }
  return 10.0 * std::log10(power / points);
}

/// Without the earlier responses: what the calibration itself says was measured.
Found by_measures(const SpeakerResult& speaker, const SpeakerMeasurement& now, const Rig& rig) {
  Found found;
  const PositionResult& then = speaker.measured.positions.front();
  if (!now.arrival_ms || !now.level_db || !then.arrival_ms || !then.level_db) return found;
  found.heard = true;
  found.later_ms = now.arrival_ms->value - *then.arrival_ms - *speaker.settings.delay_ms;
  found.later_uncertainty_ms = std::hypot(now.arrival_ms->uncertainty, then.arrival_uncertainty_ms.value_or(0.01));
  const double shaped_db = speaker.settings.equaliser.empty() ? 0.0 : equaliser_level_db(speaker, rig);
  found.louder_db = now.level_db->value - *then.level_db - *speaker.settings.trim_db - shaped_db;
  // The equaliser's effect on a room's own response is not exactly that on a flat one.
  found.louder_uncertainty_db = std::hypot(now.level_db->uncertainty, then.level_uncertainty_db.value_or(0.05)) +
                                (speaker.settings.equaliser.empty() ? 0.0 : 0.2);
  if (now.sign != WooferSign::unsure && speaker.measured.polarity != Polarity::unsure) {
    const bool was_inverted = speaker.measured.polarity == Polarity::inverted;
    found.inverted = (now.sign == WooferSign::negative) != (was_inverted != speaker.settings.invert);
  }
  return found;
}

Found by_response(const ArrivedResponse& expected, const ArrivedResponse& now, const Speaker& speaker) {
  Found found;
  const ResponseDifference difference = compare_responses(expected, now, speaker.kind, speaker.band);
  found.heard = true;
  found.compared = difference.likeness >= unlike;
  found.later_ms = difference.later_ms;
  found.later_uncertainty_ms = difference.later_uncertainty_ms;
  found.louder_db = difference.louder_db;
  found.louder_uncertainty_db = difference.louder_uncertainty_db;
  found.inverted = difference.inverted;
  found.bands = difference.bands;
  return found;
}

/// A redirected or filtered sub: below its crossover only, and the LFE's gain taken out where it is there.
void allow_for_bass_management(const Rig& rig, Found& found) {
  std::erase_if(found.bands, [&](const BandDifference& band) {
    return band.frequency_hz > 0.6 * rig.bass_management->crossover_hz;
  });
}

std::vector<Found> find_departures(const Calibration& against, const PositionMeasurement& now, const Ring& ring) {
  std::vector<Found> found(against.speakers.size());
  for (std::size_t s = 0; s < found.size(); ++s) {
    const SpeakerResult& speaker = against.speakers[s];
    if (!has_settings(speaker)) continue;
    if (ring.expected[s] && ring.now[s]) {
      found[s] = by_response(*ring.expected[s], *ring.now[s], against.rig.speakers[s]);
    } else {
      found[s] = by_measures(speaker, now.speakers[s], against.rig);
    }
    const bool filtered = ring.crossover == CrossoverState::mains_only || ring.crossover == CrossoverState::on;
    if (filtered && plays_lows_of_mains(against.rig, s)) allow_for_bass_management(against.rig, found[s]);
  }
  return found;
}

/// Worst third octave once a plain level is taken out.
struct WorstBand {
  Judged judged;
  double frequency_hz = 0.0;
};

std::optional<WorstBand> worst_band(const Found& found, double plain_db, double tolerance_db) {
  constexpr std::size_t third = 4;
  std::optional<WorstBand> worst;
  double worst_share = -1.0;
  for (std::size_t b = 0; b + third <= found.bands.size(); ++b) {
    double sum = 0.0;
    double weights = 0.0;
    for (std::size_t i = b; i < b + third; ++i) {
      const double u = found.bands[i].uncertainty_db;
      const double weight = 1.0 / (0.01 * 0.01 + u * u);
      sum += weight * (found.bands[i].level_db - plain_db);
      weights += weight;
    }
    const Judged value = judged(sum / weights, 1.0 / std::sqrt(weights), tolerance_db);
    const double share = std::abs(value.error) / value.limit;
    if (share <= worst_share) continue;
    worst_share = share;
    worst = WorstBand{value, std::sqrt(found.bands[b].frequency_hz * found.bands[b + third - 1].frequency_hz)};
  }
  return worst;
}

std::vector<OtherEqualiser> other_equalisers(const Calibration& against, std::size_t s) {
  std::vector<OtherEqualiser> others;
  for (const std::size_t o : others_by_nearness(against.rig, s)) {
    if (has_settings(against.speakers[o])) {
      others.push_back({against.speakers[o].label, &against.speakers[o].settings.equaliser});
    }
  }
  return others;
}

/// Where the bands do not fit a plain level, a slip in the equaliser may explain them, and what is left is the level.
void look_for_equaliser_slips(const Calibration& against, const VerifyTolerances& tolerances,
                              std::vector<Found>& found) {
  for (std::size_t s = 0; s < found.size(); ++s) {
    const auto worst = worst_band(found[s], found[s].louder_db, tolerances.response_db);
    if (!worst || worst->judged.passed()) continue;
    found[s].slip = find_equaliser_slip(against.speakers[s].settings.equaliser, found[s].bands,
                                        other_equalisers(against, s), against.rig);
    if (found[s].slip) found[s].louder_db = found[s].slip->louder_db;
  }
}

CommonOffset common_of(const Calibration& against, std::span<const Found> found, double Found::*value,
                       double Found::*uncertainty, double limit) {
  std::vector<Departure> departures;
  int mains = 0;
  for (std::size_t s = 0; s < found.size(); ++s) {
    mains += found[s].heard && against.speakers[s].kind == SpeakerKind::main ? 1 : 0;
  }
  for (std::size_t s = 0; s < found.size(); ++s) {
    if (!found[s].heard) continue;
    const bool reference = mains < 3 || against.speakers[s].kind == SpeakerKind::main;
    departures.push_back({found[s].*value, found[s].*uncertainty, reference});
  }
  return common_offset(departures, limit);
}

std::vector<OtherValue> other_values(const Calibration& against, std::size_t s,
                                     std::optional<double> Settings::*value) {
  std::vector<OtherValue> others;
  for (const std::size_t o : others_by_nearness(against.rig, s)) {
    const auto& other = against.speakers[o];
    if (has_settings(other)) others.push_back({other.label, *(other.settings.*value)});
  }
  return others;
}

Suspicion suspect(const char* value, const MistypeQuestion& question) {
  const auto slip = guess_mistype(question);
  return {value, question.wanted, question.found, slip ? std::optional{slip->typed} : std::nullopt,
          slip ? slip->how : ""};
}

Suspicion suspect_delay(const Calibration& against, std::size_t s, const Judged& delay) {
  const auto others = other_values(against, s, &Settings::delay_ms);
  const double wanted = *against.speakers[s].settings.delay_ms;
  const double c = speed_of_sound(Celsius{against.rig.room.temperature_c}).value();
  return suspect("delay_ms", {.wanted = wanted,
                              .found = wanted + delay.error,
                              .tolerance = delay.limit + 0.5 * against.rig.interface.delay_step_ms,
                              .decimals = decimals_of_step(against.rig.interface.delay_step_ms),
                              .others = others,
                              .samples_per_unit = against.rig.interface.sample_rate_hz * 1e-3,
                              .metres_per_unit = c * 1e-3});
}

Suspicion suspect_trim(const Calibration& against, std::size_t s, const Judged& level) {
  const auto others = other_values(against, s, &Settings::trim_db);
  const double wanted = *against.speakers[s].settings.trim_db;
  return suspect("trim_db", {.wanted = wanted,
                             .found = wanted + level.error,
                             .tolerance = level.limit + 0.5 * against.rig.interface.trim_step_db,
                             .decimals = decimals_of_step(against.rig.interface.trim_step_db),
                             .others = others});
}

/// Polarity of most speakers: when they are all the other way round, it is the microphone's chain.
bool chain_inverts(std::span<const Found> found) {
  int inverted = 0;
  int right = 0;
  for (const Found& one : found) {
    if (!one.heard || !one.inverted) continue;
    (*one.inverted ? inverted : right) += 1;
  }
  return inverted > right && inverted >= 2;
}

struct Common {
  CommonOffset time;
  CommonOffset level;
  bool inverted = false;
};

SpeakerVerdict judge_speaker(const Calibration& against, std::size_t s, const Found& found, const Common& common,
                             const VerifyTolerances& tolerances) {
  const SpeakerResult& speaker = against.speakers[s];
  SpeakerVerdict verdict{.label = speaker.label, .output = speaker.output, .kind = speaker.kind};
  if (!has_settings(speaker)) return verdict;
  if (!found.heard) {
    verdict.verdict = Verdict::fail;
    return verdict;
  }
  verdict.delay_ms = judged(found.later_ms - common.time.value,
                            std::hypot(found.later_uncertainty_ms, common.time.spread), tolerances.delay_ms);
  verdict.level_db = judged(found.louder_db - common.level.value,
                            std::hypot(found.louder_uncertainty_db, common.level.spread), tolerances.level_db);
  if (found.inverted) verdict.polarity_right = *found.inverted == common.inverted;
  if (const auto worst = worst_band(found, found.louder_db, tolerances.response_db)) {
    verdict.response_db = worst->judged;
    verdict.response_at_hz = worst->frequency_hz;
  }
  if (!verdict.delay_ms->passed()) verdict.suspicions.push_back(suspect_delay(against, s, *verdict.delay_ms));
  if (!verdict.level_db->passed()) verdict.suspicions.push_back(suspect_trim(against, s, *verdict.level_db));
  if (!verdict.polarity_right.value_or(true)) {
    const double wanted = speaker.settings.invert ? 1.0 : 0.0;
    verdict.suspicions.push_back({"invert", wanted, 1.0 - wanted, 1.0 - wanted, "switched the wrong way"});
  }
  if (verdict.response_db && !verdict.response_db->passed()) {
    verdict.suspicions.push_back(found.slip ? found.slip->suspicion
                                            : Suspicion{"response", 0.0, verdict.response_db->error, {}, ""});
  }
  verdict.verdict = verdict.suspicions.empty() ? Verdict::pass : Verdict::fail;
  return verdict;
}

void judge_bass(const Calibration& against, const Ring& ring, const Common& common, const VerifyTolerances& tolerances,
                std::vector<SpeakerVerdict>& verdicts) {
  for (std::size_t s = 0; s < verdicts.size(); ++s) {
    if (verdicts[s].kind == SpeakerKind::sub || verdicts[s].verdict == Verdict::not_judged) continue;
    const auto wanted = bass_sum_db(against, ring.expected, ring.crossover, s);
    const auto found = bass_sum_db(against, ring.now, ring.crossover, s);
    if (!wanted || !found) continue;
    verdicts[s].bass_db = judged(*found - *wanted - common.level.value, common.level.spread, tolerances.bass_db);
  }
}

Ring ring_of(const Calibration& against, const PositionMeasurement* before, const PositionMeasurement& now) {
  Ring ring;
  ring.now = measured_ring(now, against);
  ring.before = before != nullptr ? measured_ring(*before, against) : RingResponses(ring.now.size());
  if (before != nullptr) ring.crossover = find_crossover_state(against, ring.before, ring.now);
  ring.expected = expected_ring(against, ring.before, ring.crossover);
  return ring;
}

/// The LFE's extra gain counts as right where the interface's bass management was active.
void allow_for_lfe_gain(const Calibration& against, const Ring& ring, const CommonOffset& level,
                        std::vector<Found>& found) {
  if (!against.rig.bass_management) return;
  const bool active = ring.crossover == CrossoverState::on || ring.crossover == CrossoverState::mains_only;
  if (!active && !mains_full_range(against.rig)) return;
  const double gain_db = against.rig.bass_management->lfe_gain_db;
  for (std::size_t s = 0; s < found.size(); ++s) {
    if (against.speakers[s].kind != SpeakerKind::sub || !found[s].heard) continue;
    const double error_db = found[s].louder_db - level.value;
    if (std::abs(error_db - gain_db) >= std::abs(error_db)) continue;
    found[s].louder_db -= gain_db;
    for (BandDifference& band : found[s].bands) band.level_db -= gain_db;
  }
}

}  // namespace

const char* name(Verdict verdict) {
  switch (verdict) {
    case Verdict::pass: return "pass";
    case Verdict::fail: return "fail";
    case Verdict::not_judged: return "not judged";
  }
  return "not judged";
}

Verification verify(const Calibration& against, const PositionMeasurement* before, const PositionMeasurement& now,
                    const VerifyTolerances& tolerances) {
  if (now.speakers.size() != against.speakers.size() ||
      (before != nullptr && before->speakers.size() != against.speakers.size())) {
    throw InvalidInput{"verify", "the measurement and the calibration are not of the same speakers",
                       "give the rig that was calibrated"};
  }
  const Ring ring = ring_of(against, before, now);
  std::vector<Found> found = find_departures(against, now, ring);
  look_for_equaliser_slips(against, tolerances, found);
  Common common{common_of(against, found, &Found::later_ms, &Found::later_uncertainty_ms, tolerances.delay_ms),
                common_of(against, found, &Found::louder_db, &Found::louder_uncertainty_db, tolerances.level_db),
                chain_inverts(found)};
  allow_for_lfe_gain(against, ring, common.level, found);

  Verification result;
  result.rig = against.rig;
  result.tolerances = tolerances;
  result.crossover = ring.crossover;
  result.responses_compared = std::ranges::any_of(found, &Found::compared);
  for (std::size_t s = 0; s < found.size(); ++s) {
    result.speakers.push_back(judge_speaker(against, s, found[s], common, tolerances));
  }
  judge_bass(against, ring, common, tolerances, result.speakers);
  add_verification_findings(against, now, result);
  result.passed = !needs_attention(result.findings);
  return result;
}

}  // namespace ringtrue
