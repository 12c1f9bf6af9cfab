#include "ringtrue/calibration/recheck.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "kept_filters.hpp"
#include "neutral_response.hpp"
#include "recheck_references.hpp"
#include "recheck_settings.hpp"
#include "ringtrue/calibration/calibrate.hpp"
#include "ringtrue/core/errors.hpp"

namespace ringtrue {
namespace {

constexpr double drift_worth_saying_ms = 0.05;  // 1.7 cm: a microphone put back by hand does as much
constexpr double drift_worth_saying_db = 0.3;
constexpr double colour_worth_saying_db = 1.5;
constexpr double least_likeness = 0.5;

/// The new measurement of a speaker in the old one's time, level and settings.
SpeakerMeasurement brought_back(const SpeakerMeasurement& now, const Calibration& against, std::size_t s,
                                const CommonChange& common, bool active) {
  SpeakerMeasurement result = active ? without_settings(now, against.speakers[s].settings, against.rig.speakers[s],
                                                        against.rig.interface.sample_rate_hz)
                                     : now;
  if (result.arrival_ms) {
    result.arrival_ms->value -= common.time_ms.value;
    result.arrival_ms->uncertainty = std::hypot(result.arrival_ms->uncertainty, common.time_ms.spread);
  }
  result.response.first_sample_ms -= common.time_ms.value;
  if (result.level_db) result.level_db->value -= common.level_db.value;
  const double gain = amplitude_ratio(Decibels{-common.level_db.value}) * (common.inverted ? -1.0 : 1.0);
  for (float& sample : result.response.samples) sample = static_cast<float>(gain * static_cast<double>(sample));
  if (common.inverted && result.sign != WooferSign::unsure) {
    result.sign = result.sign == WooferSign::positive ? WooferSign::negative : WooferSign::positive;
  }
  return result;
}

/// One position's measurement with the named speakers' new ones in place of the old.
PositionMeasurement mixed_position(const Calibration& against, const PositionMeasurement& before,
                                   const PositionMeasurement* now, std::span<const std::size_t> named, bool active) {
  PositionMeasurement mixed = before;
  mixed.findings.clear();
  if (now == nullptr) {
    for (const std::size_t s : named) mixed.speakers[s] = {};
    return mixed;
  }
  const CommonChange common = common_change(against.rig, then_and_now(against, before, *now, active), named);
  if (common.time_ms.agreeing == 0) {
    for (const std::size_t s : named) mixed.speakers[s] = {};
    return mixed;
  }
  for (const std::size_t s : named) mixed.speakers[s] = brought_back(now->speakers[s], against, s, common, active);
  return mixed;
}

RecheckedSpeaker compared_speaker(const Calibration& against, std::size_t s, bool named,
                                  const std::optional<ThenAndNow>& change, const CommonChange& common) {
  const SpeakerResult& then = against.speakers[s];
  RecheckedSpeaker speaker;
  speaker.label = then.label;
  speaker.output = then.output;
  speaker.named = named;
  speaker.before = then.settings;
  speaker.after = then.settings;
  if (!change) return speaker;
  const double c = speed_of_sound(Celsius{against.rig.room.temperature_c}).value();
  speaker.measured = true;
  speaker.later_ms = change->later_ms - common.time_ms.value;
  speaker.uncertainty_ms = std::hypot(change->later_uncertainty_ms, common.time_ms.spread);
  speaker.further_m = *speaker.later_ms * 1e-3 * c;
  speaker.louder_db = change->louder_db - common.level_db.value;
  speaker.inverted = change->inverted != common.inverted;
  return speaker;
}

bool has_drifted(const RecheckedSpeaker& speaker, const ThenAndNow& change, const CommonChange& common) {
  const double allowed_ms = std::max(drift_worth_saying_ms, 4.0 * *speaker.uncertainty_ms);
  const double allowed_db =
      std::max(drift_worth_saying_db, 4.0 * std::hypot(change.louder_uncertainty_db, common.level_db.spread));
  return std::abs(*speaker.later_ms) > allowed_ms || std::abs(*speaker.louder_db) > allowed_db || speaker.inverted ||
         std::abs(change.worst_third_octave_db) > colour_worth_saying_db || change.likeness < least_likeness;
}

std::string distance_words(double further_m) {
  const double cm = 100.0 * std::abs(further_m);
  return fmt::format("{:.1f} cm {}", cm, further_m > 0.0 ? "further away" : "nearer");
}

/// "14.2 cm: 10.1 cm to the left, 9.8 cm to the front, 1.9 cm up"
std::string place_words(const Point& moved) {
  std::string words = fmt::format("{:.0f} cm", 100.0 * length_m(moved));
  const auto add = [&](double along_m, const char* plus, const char* minus) {
    if (std::abs(along_m) < 0.01) return;
    words += fmt::format("{}{:.0f} cm {}", words.find(':') == std::string::npos ? ": " : ", ",
                         100.0 * std::abs(along_m), along_m > 0.0 ? plus : minus);
  };
  add(moved.x, "to the right", "to the left");
  add(moved.y, "to the front", "to the back");
  add(moved.z, "up", "down");
  return words;
}

void add_drift(const RecheckedSpeaker& speaker, const ThenAndNow& change, Findings& findings) {
  std::string what;
  const auto add = [&](const std::string& part) { what += (what.empty() ? "" : ", ") + part; };
  if (std::abs(*speaker.later_ms) >= drift_worth_saying_ms) {
    add(fmt::format("arrives {:.2f} ms {} ({})", std::abs(*speaker.later_ms),
                    *speaker.later_ms > 0.0 ? "later" : "earlier", distance_words(*speaker.further_m)));
  }
  if (std::abs(*speaker.louder_db) >= drift_worth_saying_db) {
    add(fmt::format("is {:.1f} dB {}", std::abs(*speaker.louder_db), *speaker.louder_db > 0.0 ? "louder" : "quieter"));
  }
  if (speaker.inverted) add("moves the other way");
  if (what.empty() || std::abs(change.worst_third_octave_db) > colour_worth_saying_db) add("sounds different");
  findings.push_back(
      {Severity::warn, "drifted", speaker.label,
       fmt::format("{} (output {}) is not as it was: it {}. Re-check it with --speaker {}, or put it back.",
                   speaker.label, speaker.output, what, speaker.label)});
}

void add_move(const RecheckedSpeaker& speaker, Findings& findings) {
  std::string words;
  if (speaker.moved_m && length_m(*speaker.moved_m) >= 0.01) {
    words =
        fmt::format("moved by about {}; it is {}.", place_words(*speaker.moved_m), distance_words(*speaker.further_m));
  } else if (std::abs(*speaker.further_m) < 0.005) {
    words = "is as far away as it was; a move sideways is not seen from one mic position.";
  } else {
    words = fmt::format("is {} than it was. In which direction it went beside that is not seen from here.",
                        distance_words(*speaker.further_m));
  }
  findings.push_back(
      {Severity::note, "moved", speaker.label, fmt::format("{} (output {}) {}", speaker.label, speaker.output, words)});
}

/// A sub that stays as it is although the mains it plays with have moved.
void add_bass_note(const Calibration& against, const Calibration& fresh, std::span<const std::size_t> named,
                   Findings& findings) {
  if (!against.bass_alignment || !fresh.bass_alignment) return;
  for (std::size_t s = 0; s < against.speakers.size(); ++s) {
    const SpeakerResult& sub = against.speakers[s];
    if (sub.kind != SpeakerKind::sub || contains(named, s)) continue;
    const auto shift = [&](const Calibration& calibration) {
      for (const auto& one : calibration.bass_alignment->subs) {
        if (one.label == sub.label) return one.shift_ms;
      }
      return 0.0;
    };
    const double change_ms = shift(fresh) - shift(against);
    const bool switched = fresh.speakers[s].settings.invert != sub.settings.invert;
    if (std::abs(change_ms) < 1.0 && !switched) continue;
    findings.push_back({Severity::note, "subwoofer-alignment", sub.label,
                        fmt::format("{} keeps its values. As the mains stand now {:+.1f} ms{} would add up slightly "
                                    "better: calibrate again when you have the time.",
                                    sub.label, change_ms, switched ? " and the other polarity" : "")});
  }
}

/// Findings of the old calibration that are still true, and the new ones of the named speakers.
Findings renewed_findings(const Calibration& against, const Calibration& fresh, std::span<const std::size_t> named,
                          const Findings& of_the_check) {
  Findings findings;
  const auto is_named = [&](const Finding& finding) {
    return finding.speaker &&
           std::ranges::any_of(named, [&](std::size_t s) { return against.speakers[s].label == *finding.speaker; });
  };
  for (const Finding& finding : against.findings) {
    const bool of_a_check = finding.code == "moved" || finding.code == "others-changed" || finding.code == "drifted" ||
                            finding.code == "filters-kept";
    if (!is_named(finding) && !of_a_check) findings.push_back(finding);
  }
  for (const Finding& finding : fresh.findings) {
    const bool of_values = finding.code == "delay-out-of-range" || finding.code == "trim-out-of-range";
    if (is_named(finding) && !of_values) findings.push_back(finding);
  }
  findings.insert(findings.end(), of_the_check.begin(), of_the_check.end());
  const auto rank = [](const Finding& finding) {
    return finding.severity == Severity::stop ? 0 : finding.severity == Severity::warn ? 1 : 2;
  };
  std::ranges::stable_sort(findings, {}, rank);
  return findings;
}

void require_sense(const Calibration& against, std::span<const PositionMeasurement> before,
                   std::span<const PositionMeasurement> now) {
  if (before.empty()) {
    throw InvalidInput{"recheck", "there are no impulse responses beside the calibration to compare with",
                       "keep calibration.json and impulse-responses/ in one folder, or calibrate again"};
  }
  if (now.empty() || now.front().speakers.size() != against.speakers.size()) {
    throw InvalidInput{"recheck", "the measurement and the calibration are not of the same speakers",
                       "give the rig that was calibrated"};
  }
}

/// The measurement's own findings about the named speakers and the recording; what compares a ring is left out.
void add_measured(const PositionMeasurement& now, Findings& findings) {
  for (Finding finding : now.findings) {
    if (finding.code == "clock-drift") continue;
    if (finding.severity == Severity::warn) finding.severity = Severity::note;
    findings.push_back(std::move(finding));
  }
}

}  // namespace

Recheck recheck(const Calibration& against, std::span<const PositionMeasurement> before,
                std::span<const PositionMeasurement> now, std::span<const std::size_t> named,
                std::span<const std::size_t> played) {
  require_sense(against, before, now);
  Recheck result;
  result.calibration = against;
  result.settings_active = settings_were_active(against, before.front(), now.front(), named);
  const auto changes = then_and_now(against, before.front(), now.front(), result.settings_active);
  const CommonChange common = common_change(against.rig, changes, named);
  if (common.time_ms.agreeing == 0) {
    throw InvalidInput{now.front().name,
                       "no speaker was heard that was not moved, so there is nothing to measure against",
                       "play at least one speaker that stands where it stood"};
  }
  for (std::size_t s = 0; s < changes.size(); ++s) {
    result.speakers.push_back(compared_speaker(against, s, contains(named, s), changes[s], common));
    RecheckedSpeaker& speaker = result.speakers.back();
    if (speaker.named) continue;
    if (!changes[s]) {
      const bool lost =
          contains(played, s) && against.speakers[s].status == Status::ok && !now.front().speakers[s].heard;
      speaker.drifted = lost;
      if (lost) {
        result.findings.push_back(
            {Severity::stop, "silent-output", speaker.label,
             fmt::format("Nothing is heard from {} (output {}) any more.", speaker.label, speaker.output)});
      }
      continue;
    }
    speaker.drifted = has_drifted(speaker, *changes[s], common);
    if (speaker.drifted) add_drift(speaker, *changes[s], result.findings);
  }
  add_measured(now.front(), result.findings);
  if (named.empty()) return result;

  for (std::size_t p = 0; p < before.size(); ++p) {
    result.positions.push_back(
        mixed_position(against, before[p], p < now.size() ? &now[p] : nullptr, named, result.settings_active));
  }
  const Calibration fresh = calibrate(against.rig, result.positions);
  for (const std::size_t s : named) {
    SpeakerResult& speaker = result.calibration.speakers[s];
    speaker.measured = fresh.speakers[s].measured;
    speaker.status = fresh.speakers[s].status;
    const SpeakerMeasurement& heard = result.positions.front().speakers[s];
    if (heard.arrival_ms && against.speakers[s].measured.positions.front().arrival_ms) {
      // Its own arrival, not the lag of two responses: what stands around it has changed.
      const double c = speed_of_sound(Celsius{against.rig.room.temperature_c}).value();
      const PositionResult& then = against.speakers[s].measured.positions.front();
      result.speakers[s].measured = true;
      result.speakers[s].later_ms = heard.arrival_ms->value - *then.arrival_ms;
      result.speakers[s].uncertainty_ms = heard.arrival_ms->uncertainty;
      result.speakers[s].further_m = *result.speakers[s].later_ms * 1e-3 * c;
      if (heard.level_db && then.level_db) result.speakers[s].louder_db = heard.level_db->value - *then.level_db;
      const auto& old_place = against.speakers[s].measured.position_m;
      if (old_place && speaker.measured.position_m)
        result.speakers[s].moved_m = *speaker.measured.position_m - *old_place;
      add_move(result.speakers[s], result.findings);
    }
  }
  renew_settings(fresh, result.positions, named, result);
  renew_corrections(against, before, named, result);
  add_bass_note(against, fresh, named, result.findings);
  for (std::size_t s = 0; s < result.speakers.size(); ++s) {
    result.speakers[s].after = result.calibration.speakers[s].settings;
  }
  result.calibration.findings = renewed_findings(against, fresh, named, result.findings);
  if (std::ranges::any_of(named, [&](std::size_t s) { return against.speakers[s].kind == SpeakerKind::sub; })) {
    result.calibration.bass_alignment = fresh.bass_alignment;
  }
  return result;
}

}  // namespace ringtrue
