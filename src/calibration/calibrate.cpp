#include "ringtrue/calibration/calibrate.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <limits>
#include <optional>

#include "band_ends.hpp"
#include "bass.hpp"
#include "bass_checks.hpp"
#include "crossover_check.hpp"
#include "crossover_suggestion.hpp"
#include "equalise.hpp"
#include "full_range_subs.hpp"
#include "lfe_only.hpp"
#include "places.hpp"
#include "ringtrue/alignment/delays.hpp"
#include "ringtrue/alignment/trims.hpp"
#include "ringtrue/calibration/sound_pressure.hpp"
#include "ringtrue/core/errors.hpp"
#include "room.hpp"
#include "spots.hpp"

namespace ringtrue {
namespace {

constexpr double drift_worth_noting_ppm = 1.0;
constexpr double drift_worth_warning_ppm = 50.0;
constexpr double arrival_needed_ms = 0.02;  // the alignment the settings aim at
constexpr double level_needed_db = 0.25;    // level match in listening-test rooms (docs/alignment.md)
constexpr double much_lower_db = 6.0;

PositionResult position_result(const SpeakerMeasurement& measured, bool absolute_time, double speed_of_sound_m_s) {
  PositionResult result;
  if (!measured.heard) return result;
  if (measured.arrival_ms) {
    result.arrival_ms = measured.arrival_ms->value;
    result.arrival_uncertainty_ms = measured.arrival_ms->uncertainty;
    if (absolute_time) result.distance_m = std::max(0.0, measured.arrival_ms->value * 1e-3 * speed_of_sound_m_s);
  }
  if (measured.level_db) {
    result.level_db = measured.level_db->value;
    result.level_uncertainty_db = measured.level_db->uncertainty;
  }
  result.signal_to_noise_db = measured.signal_to_noise_db;
  result.decay_time_s = measured.decay_time_s;
  return result;
}

/// Sum of the woofer's signs over the mic positions; 0: unsure.
int sign_of(std::span<const PositionMeasurement> positions, std::size_t speaker) {
  int sum = 0;
  for (const PositionMeasurement& position : positions) {
    const SpeakerMeasurement& measured = position.speakers[speaker];
    if (!measured.heard || measured.sign == WooferSign::unsure) continue;
    sum += measured.sign == WooferSign::positive ? 1 : -1;
  }
  return sum;
}

/// True when most mains move the "wrong" way: then the microphone's chain inverts, not the speakers.
bool chain_inverts(const Rig& rig, std::span<const PositionMeasurement> positions) {
  int positive = 0;
  int negative = 0;
  for (std::size_t s = 0; s < rig.speakers.size(); ++s) {
    if (rig.speakers[s].kind != SpeakerKind::main) continue;
    const int sign = sign_of(positions, s);
    positive += sign > 0;
    negative += sign < 0;
  }
  return negative > positive && negative >= 2;
}

void add_clock_finding(const PositionMeasurement& position, Findings& findings) {
  const double ppm = position.clock_ppm.value;
  if (std::abs(ppm) < drift_worth_noting_ppm) return;
  const bool warn = std::abs(ppm) > drift_worth_warning_ppm;
  findings.push_back({warn ? Severity::warn : Severity::note, "clock-drift", std::nullopt,
                      fmt::format("{}: the recorder's clock runs {:.1f} ppm {} than the player's; this was measured "
                                  "and undone.{}",
                                  position.name, std::abs(ppm), ppm > 0.0 ? "faster" : "slower",
                                  warn ? " Play and record through one interface if you can." : "")});
}

/// Everything about one speaker that does not depend on the others.
SpeakerResult speaker_result(const Rig& rig, std::span<const PositionMeasurement> positions, std::size_t s,
                             bool inverting_chain, Findings& findings) {
  const Speaker& speaker = rig.speakers[s];
  SpeakerResult result;
  result.label = speaker.label;
  result.output = speaker.output;
  result.kind = speaker.kind;
  const double c = speed_of_sound(Celsius{rig.room.temperature_c}).value();
  for (const PositionMeasurement& position : positions) {
    result.measured.positions.push_back(position_result(position.speakers[s], position.absolute_time, c));
  }
  const SpeakerMeasurement& here = positions.front().speakers[s];
  constexpr double highest_low_octave_hz = 130.0;
  for (const OctaveReading& octave : here.octaves) {
    if (octave.centre_hz > highest_low_octave_hz) break;
    result.measured.low_octaves.push_back({octave.centre_hz, octave.level_db, octave.signal_to_noise_db});
  }
  if (!here.trusted) result.status = Status::unreliable;  // its finding comes with the measurement
  if (!here.heard && !here.trusted) return result;
  if (!here.heard) {
    result.status = Status::silent;
    findings.push_back({Severity::stop, "silent-output", speaker.label,
                        fmt::format("Nothing is heard from {} (output {}). Check that it is switched on, its cable, "
                                    "and that output {} is not muted; then measure again.",
                                    speaker.label, speaker.output, speaker.output)});
    return result;
  }

  const int sign = sign_of(positions, s) * (inverting_chain ? -1 : 1);
  result.measured.polarity = sign > 0 ? Polarity::normal : sign < 0 ? Polarity::inverted : Polarity::unsure;
  result.settings.invert = result.measured.polarity == Polarity::inverted && rig.interface.polarity_switch;
  return result;
}

/// A sub that plays the mains' lows: whichever way it moves, its setting was chosen for the best sum with them.
void add_managed_polarity_note(const SpeakerResult& sub, Findings& findings) {
  if (sub.measured.polarity != Polarity::inverted) return;
  findings.push_back({Severity::note, "inverted-polarity", sub.label,
                      fmt::format("{} (output {}) by itself moves the opposite way to the mains. Nothing needs "
                                  "rewiring: the polarity to type in was chosen for the best sum.",
                                  sub.label, sub.output)});
}

void add_polarity_finding(const Rig& rig, const SpeakerResult& speaker, Findings& findings) {
  if (speaker.measured.polarity == Polarity::inverted) {
    findings.push_back({Severity::warn, "inverted-polarity", speaker.label,
                        fmt::format("{} (output {}) moves the opposite way to what it should: its leads are crossed "
                                    "or an invert switch is on. Correct that and measure again{}.",
                                    speaker.label, speaker.output,
                                    rig.interface.polarity_switch ? ", or type in the invert setting" : "")});
  }
  if (speaker.measured.polarity == Polarity::unsure) {
    // A sub's response may fit either way; its level and arrival are as good all the same.
    const Severity severity = speaker.kind == SpeakerKind::sub ? Severity::note : Severity::warn;
    findings.push_back({severity, "unsure-polarity", speaker.label,
                        fmt::format("The polarity of {} cannot be told from this recording; compare its wiring with "
                                    "its neighbours by eye.",
                                    speaker.label)});
  }
}

void add_polarity_findings(const Rig& rig, Calibration& calibration) {
  for (const SpeakerResult& speaker : calibration.speakers) {
    if (speaker.status == Status::silent || speaker.measured.positions.front().arrival_ms == std::nullopt) continue;
    if (set_by_sum(calibration, speaker)) {
      add_managed_polarity_note(speaker, calibration.findings);
    } else {
      add_polarity_finding(rig, speaker, calibration.findings);
    }
  }
}

/// For the rare case that the noise of each band is low enough and the result still is not sure enough.
void add_uncertainty_finding(const SpeakerResult& speaker, Findings& findings) {
  const PositionResult& here = speaker.measured.positions.front();
  // They may be unsure for other reasons, a crossover unlike its fellows' or distortion: louder would not help that.
  constexpr double noise_matters_db = 25.0;
  const bool noisy = here.signal_to_noise_db.value_or(0.0) < noise_matters_db;
  const bool is_main = speaker.kind == SpeakerKind::main;
  const bool late = noisy && is_main && here.arrival_uncertainty_ms.value_or(0.0) > arrival_needed_ms;
  const bool rough = noisy && here.level_uncertainty_db.value_or(0.0) > level_needed_db;
  const bool said = std::ranges::any_of(findings, [&](const Finding& finding) {
    return finding.code == "low-signal-to-noise" && (!finding.speaker || finding.speaker == speaker.label);
  });
  if (said || (!late && !rough)) return;
  findings.push_back({Severity::warn, "low-signal-to-noise", speaker.label,
                      fmt::format("The {} of {} may be off by {}. Measure louder, with longer sweeps, or in a quieter "
                                  "moment.",
                                  late ? "delay" : "level", speaker.label,
                                  late ? fmt::format("{:.2f} ms", 2.0 * *here.arrival_uncertainty_ms)
                                       : fmt::format("{:.1f} dB", 2.0 * *here.level_uncertainty_db))});
}

/// @param later_ms  per speaker: how much later than its arrival alone asks for
void set_delays(const Rig& rig, std::span<const double> later_ms, Calibration& calibration) {
  std::vector<std::optional<double>> arrivals;
  for (std::size_t s = 0; s < calibration.speakers.size(); ++s) {
    const SpeakerResult& speaker = calibration.speakers[s];
    arrivals.push_back(speaker.status == Status::ok ? speaker.measured.positions.front().arrival_ms : std::nullopt);
    if (arrivals.back()) *arrivals.back() -= later_ms[s];  // as if it arrived that much earlier
  }
  const auto delays = align_delays_ms(arrivals, {rig.interface.delay_range_ms, rig.interface.delay_step_ms});
  for (std::size_t s = 0; s < delays.size(); ++s) {
    if (!delays[s]) continue;
    SpeakerResult& speaker = calibration.speakers[s];
    speaker.settings.delay_ms = delays[s]->value;
    if (!delays[s]->out_of_range) continue;
    calibration.findings.push_back(
        {Severity::warn, "delay-out-of-range", speaker.label,
         fmt::format("{} would need {:.2f} ms of delay, the interface ends at {:.2f} ms: {:.2f} ms are missing. Move "
                     "it further away or the latest speaker nearer.",
                     speaker.label, delays[s]->value + delays[s]->remainder, rig.interface.delay_range_ms[1],
                     delays[s]->remainder)});
  }
}

/// Every sub of the rig that was heard, with those it plays together with.
struct SubwooferGroups {
  SubwooferGroup redirected;             // play the mains' lows
  std::vector<SubwooferGroup> lfe_only;  // by LFE channel
};

/// What each speaker is set to against the mains: a redirected sub like a main, because the interface raises the LFE
/// itself; one of the LFE alone higher by what the interface does not add. Several together are as loud as one.
std::vector<double> above_mains_db(const Rig& rig, const SubwooferGroups& groups) {
  std::vector<double> above_db(rig.speakers.size());
  const auto add = [&](const SubwooferGroup& group, double together_db) {
    for (std::size_t k = 0; k < group.members.size(); ++k) {
      above_db[group.members[k]] = together_db + group.offsets[k].gain_db - group.sum_over_one_db;
    }
  };
  add(groups.redirected, 0.0);
  for (const SubwooferGroup& group : groups.lfe_only) add(group, lfe_above_mains_db(rig));
  return above_db;
}

void add_trim_finding(const Rig& rig, const SpeakerResult& speaker, const Rounded& trim, Findings& findings) {
  const bool too_quiet = trim.remainder > 0.0;
  findings.push_back(
      {Severity::warn, "trim-out-of-range", speaker.label,
       fmt::format("{} would need a trim of {:+.1f} dB, the interface {} at {:+.1f} dB. Turn {} {} by {:.1f} dB at the "
                   "speaker itself and measure again.",
                   speaker.label, trim.value + trim.remainder, too_quiet ? "ends" : "begins",
                   rig.interface.trim_range_db[too_quiet ? 1 : 0], speaker.label, too_quiet ? "up" : "down",
                   std::abs(trim.remainder))});
}

void add_headroom_note(const Rig& rig, const Calibration& calibration, Findings& findings) {
  double loudest_main_trim = -1e9;
  for (const SpeakerResult& speaker : calibration.speakers) {
    if (speaker.kind == SpeakerKind::main && speaker.settings.trim_db) {
      loudest_main_trim = std::max(loudest_main_trim, *speaker.settings.trim_db);
    }
  }
  const double lowered_db = rig.interface.trim_range_db[1] - loudest_main_trim;
  if (loudest_main_trim < -1e8 || lowered_db < much_lower_db) return;
  findings.push_back({Severity::note, "subwoofer-quiet", std::nullopt,
                      fmt::format("All mains are turned down by {:.1f} dB or more so that the sub can keep up. To win "
                                  "that back, turn the sub's own level up by {:.1f} dB and measure again.",
                                  lowered_db, lowered_db)});
}

void set_trims(const Rig& rig, const SubwooferGroups& groups, Calibration& calibration) {
  const std::vector<double> above_db = above_mains_db(rig, groups);
  std::vector<std::optional<TrimInput>> inputs;
  for (std::size_t s = 0; s < calibration.speakers.size(); ++s) {
    const SpeakerResult& speaker = calibration.speakers[s];
    const auto& level = speaker.measured.positions.front().level_db;
    inputs.push_back(speaker.status == Status::ok && level
                         ? std::optional{TrimInput{equalised_level_db(speaker), above_db[s]}}
                         : std::nullopt);
  }
  const auto trims = level_trims_db(inputs, {rig.interface.trim_range_db, rig.interface.trim_step_db});
  for (std::size_t s = 0; s < trims.size(); ++s) {
    if (!trims[s]) continue;
    calibration.speakers[s].settings.trim_db = trims[s]->value;
    if (trims[s]->out_of_range) add_trim_finding(rig, calibration.speakers[s], *trims[s], calibration.findings);
  }
  add_headroom_note(rig, calibration, calibration.findings);
}

void add_wiring_note(std::span<const PositionMeasurement> positions, Findings& findings) {
  findings.push_back({Severity::note, "wiring-unproven", std::nullopt,
                      fmt::format("{} cannot prove that each output feeds the speaker it is named after: crossed "
                                  "outputs would look the same. Measure at four spots (ear point, 25 cm right, 25 cm "
                                  "forward, 25 cm up), or walk from speaker to speaker during a test signal.",
                                  positions.size() == 1 ? "One mic spot" : "These mic spots")});
}

/// The subs with trims set. Several that play the mains' lows are evened out as far as no main is given up for that:
/// from what costs most output to all arriving together, the first that strains nothing, or else what strains least.
SubwooferGroups choose_groups(const Rig& rig, const BassMeasurement& bass, Calibration& calibration) {
  constexpr std::array<std::optional<double>, 5> free_losses_db{2.0, 1.0, 0.0, -2.0, std::nullopt};
  SubwooferGroups chosen{.redirected = {}, .lfe_only = group_lfe_only(rig, bass, calibration.speakers)};
  const std::vector<std::size_t> members = redirected_subs(rig, bass);
  double least_strain_db = std::numeric_limits<double>::infinity();
  for (const auto& free_loss_db : free_losses_db) {
    SubwooferGroup group = group_subwoofers(rig, bass, members, calibration.speakers, free_loss_db);
    Calibration trial;
    trial.speakers = calibration.speakers;
    set_trims(rig, {group, chosen.lfe_only}, trial);
    const bool no_choice = group.members.size() < 2;
    const double strain_db = no_choice ? 0.0 : strain_of_group(rig, bass, group, trial.speakers);
    if (strain_db < least_strain_db) {
      least_strain_db = strain_db;
      chosen.redirected = std::move(group);
    }
    if (least_strain_db == 0.0) break;
  }
  set_trims(rig, chosen, calibration);
  return chosen;
}

/// Everything below the crossover: where each speaker falls off, and how the subs add up with the mains.
/// @returns how much later than by its arrival each speaker is to play, ms
std::vector<double> set_bass(const Rig& rig, std::span<const PositionMeasurement> positions,
                             const CalibrateOptions& options, Calibration& calibration) {
  BassMeasurement bass = measure_bass(rig, positions, calibration.speakers);
  for (std::size_t s = 0; s < calibration.speakers.size(); ++s) {
    if (!bass.speakers[s]) continue;
    calibration.speakers[s].measured.band_ends =
        band_ends(*bass.speakers[s], bass.frequency_hz, rig.speakers[s].band, rig.speakers[s].kind);
  }
  add_crossover_notes(rig, calibration);
  calibration.room.resonances = find_resonances(rig, bass, calibration.speakers);
  set_equalisers(rig, positions, options.correction, calibration);
  apply_equalisers(positions, calibration, bass);
  const SubwooferGroups groups = choose_groups(rig, bass, calibration);
  check_bass(rig, calibration);
  std::vector<double> later_ms = align_group(rig, bass, groups.redirected, calibration);
  align_lfe_only(rig, groups.lfe_only, calibration, later_ms);
  if (options.suggest_crossover) suggest_crossover(rig, bass, groups.redirected, options.crossovers_hz, calibration);
  return later_ms;
}

int rank(Severity severity) { return severity == Severity::stop ? 0 : severity == Severity::warn ? 1 : 2; }

}  // namespace

Calibration calibrate(const Rig& rig, std::span<const PositionMeasurement> positions, const CalibrateOptions& options) {
  if (positions.empty()) throw InvalidInput{"calibration", "no mic position was measured", "give a recording"};
  Calibration calibration;
  calibration.rig = rig;
  calibration.time_reference =
      positions.front().absolute_time ? TimeReference::loopback : TimeReference::earliest_arrival;
  for (const PositionMeasurement& position : positions) {
    add_clock_finding(position, calibration.findings);
    calibration.findings.insert(calibration.findings.end(), position.findings.begin(), position.findings.end());
  }
  const bool inverting_chain = chain_inverts(rig, positions);
  if (inverting_chain) {
    calibration.findings.push_back({Severity::note, "inverting-chain", std::nullopt,
                                    "Most speakers move backwards for a positive signal: the microphone's chain (or "
                                    "the interface) inverts. Polarity is judged against the majority."});
  }
  for (std::size_t s = 0; s < rig.speakers.size(); ++s) {
    calibration.speakers.push_back(speaker_result(rig, positions, s, inverting_chain, calibration.findings));
    add_uncertainty_finding(calibration.speakers.back(), calibration.findings);
  }
  find_full_range_subs(rig, positions, calibration);
  const std::vector<double> later_ms = set_bass(rig, positions, options, calibration);
  set_delays(rig, later_ms, calibration);
  add_polarity_findings(rig, calibration);
  const SpotCheck spots = check_spots(rig, positions);
  calibration.findings.insert(calibration.findings.end(), spots.findings.begin(), spots.findings.end());
  if (!set_places(rig, positions, spots.stood, options.known_distances, calibration)) {
    add_wiring_note(positions, calibration.findings);
  }
  set_room(rig, positions, options.full_scale_db_spl ? options.full_scale_db_spl : rig.microphone.full_scale_spl_db,
           calibration);
  add_listening_level_note(calibration);
  add_room_notes(calibration);
  std::ranges::stable_sort(calibration.findings, {}, [](const Finding& finding) { return rank(finding.severity); });
  return calibration;
}

}  // namespace ringtrue
