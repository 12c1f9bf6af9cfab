#include "verification_words.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <string_view>
#include <tuple>

#include "decimals.hpp"
#include "partner.hpp"

namespace ringtrue {
namespace {

constexpr std::array<std::string_view, 6> judged_closer_here{"quiet-speaker", "dull-speaker",  "thin-speaker",
                                                             "bass-only",     "shared-output", "inverting-chain"};

std::string shown(double value, int decimals) {
  const double scale = std::pow(10.0, decimals);
  return fmt::format("{:.{}f}", std::round(value * scale) / scale + 0.0, decimals);
}

/// "3.41 typed as 2.41 (one digit wrong)?"
std::string guess_words(const Suspicion& suspicion, int decimals) {
  const std::string wanted = shown(suspicion.wanted, decimals);
  if (suspicion.typed) {
    const int typed_decimals = std::max(decimals, std::min(3, decimals_of_value(*suspicion.typed)));
    return fmt::format("{} typed as {} ({})?", wanted, shown(*suspicion.typed, typed_decimals), suspicion.how);
  }
  return fmt::format("the sheet says {}, it works as {}: look at what is typed in.", wanted,
                     shown(suspicion.found, decimals));
}

std::string filter_words(const Filter& filter) {
  return fmt::format("{} {} Hz {:+.1f} dB Q {}", in_words(filter.shape),
                     shown(filter.frequency_hz, decimals_of_value(filter.frequency_hz)), filter.gain_db,
                     shown(filter.q, decimals_of_value(filter.q)));
}

/// "equaliser[2].gain_db" -> 2 and "gain_db".
struct FilterField {
  std::size_t number = 0;
  std::string field;
};
FilterField field_of(const std::string& value) {
  const std::size_t open = value.find('[');
  if (open == std::string::npos) return {};
  const std::size_t dot = value.find("].");
  return {static_cast<std::size_t>(std::atoi(value.c_str() + open + 1)),
          dot == std::string::npos ? "" : value.substr(dot + 2)};
}

std::string equaliser_words(const Suspicion& suspicion, const SpeakerResult& speaker) {
  const FilterField place = field_of(suspicion.value);
  if (place.number == 0) return fmt::format("equaliser: {}?", suspicion.how);
  const Filter& filter = speaker.settings.equaliser[place.number - 1];
  const std::string which = fmt::format("equaliser filter {} ({})", place.number, filter_words(filter));
  if (place.field.empty() || place.field == "shape") return fmt::format("{}: {}?", which, suspicion.how);
  const char* what = place.field == "gain_db" ? "gain" : place.field == "q" ? "Q" : "frequency";
  const int decimals = place.field == "frequency_hz" ? decimals_of_value(suspicion.wanted)
                                                     : std::max(1, decimals_of_value(suspicion.wanted));
  return fmt::format("{}: {} {}", which, what, guess_words(suspicion, decimals));
}

std::string words_of(const Suspicion& suspicion, const SpeakerVerdict& verdict, const SpeakerResult& speaker,
                     const Rig& rig) {
  if (suspicion.value == "delay_ms") {
    return fmt::format("delay is {:.2f} ms too {}: {}", std::abs(verdict.delay_ms->error),
                       verdict.delay_ms->error > 0.0 ? "long" : "short",
                       guess_words(suspicion, decimals_of_step(rig.interface.delay_step_ms)));
  }
  if (suspicion.value == "trim_db") {
    return fmt::format("trim is {:.1f} dB too {}: {}", std::abs(verdict.level_db->error),
                       verdict.level_db->error > 0.0 ? "high" : "low",
                       guess_words(suspicion, decimals_of_step(rig.interface.trim_step_db)));
  }
  if (suspicion.value == "invert") {
    return suspicion.wanted > 0.5 ? "polarity is wrong: the invert switch was missed, the sheet says INVERT."
                                  : "polarity is wrong: it is inverted, the sheet says normal.";
  }
  if (suspicion.value == "response") {
    return fmt::format(
        "response is {:+.1f} dB off around {:.0f} Hz, which no single slip in its filters explains: "
        "compare them with the sheet, one by one.",
        verdict.response_db->error, verdict.response_at_hz);
  }
  return equaliser_words(suspicion, speaker);
}

void add(Findings& findings, Severity severity, const char* code, const std::optional<std::string>& speaker,
         std::string message) {
  findings.push_back({severity, code, speaker, std::move(message)});
}

/// The suspicion about one value, if there is one.
const Suspicion* suspicion_of(const SpeakerVerdict& verdict, std::string_view value) {
  const auto found = std::ranges::find(verdict.suspicions, value, &Suspicion::value);
  return found == verdict.suspicions.end() ? nullptr : &*found;
}

/// True when each of two works with the value that the other should have.
bool are_exchanged(const Suspicion* one, const Suspicion* other, double limit) {
  return one != nullptr && other != nullptr && std::abs(one->found - other->wanted) <= limit &&
         std::abs(other->found - one->wanted) <= limit;
}

/// Left and right exchanged: each has the other's value.
void add_exchanges(const Calibration& against, Verification& result) {
  for (std::size_t s = 0; s < result.speakers.size(); ++s) {
    const auto partner = partner_of(against.rig, s);
    if (!partner || *partner < s) continue;
    const SpeakerVerdict& one = result.speakers[s];
    const SpeakerVerdict& other = result.speakers[*partner];
    for (const auto& [value, words, limit] : {std::tuple{"delay_ms", "delays", 0.02}, {"trim_db", "trims", 0.15}}) {
      if (!are_exchanged(suspicion_of(one, value), suspicion_of(other, value), limit)) continue;
      add(result.findings, Severity::warn, "tolerance", one.label,
          fmt::format("The {} of {} and {} seem to be exchanged.", words, one.label, other.label));
    }
  }
}

/// Every value as if it were 0: nothing was typed in, or a switch bypasses it.
bool nothing_typed_in(const Calibration& against, const Verification& result) {
  std::vector<double> delays;
  std::vector<double> trims;
  bool any_differs = false;
  for (std::size_t s = 0; s < result.speakers.size(); ++s) {
    const SpeakerVerdict& verdict = result.speakers[s];
    if (!verdict.delay_ms || !verdict.level_db || verdict.kind == SpeakerKind::sub) continue;
    delays.push_back(*against.speakers[s].settings.delay_ms + verdict.delay_ms->error);
    trims.push_back(*against.speakers[s].settings.trim_db + verdict.level_db->error);
    any_differs = any_differs || verdict.verdict == Verdict::fail;
  }
  if (!any_differs || delays.size() < 3) return false;
  const auto [least_ms, most_ms] = std::ranges::minmax(delays);
  const auto [least_db, most_db] = std::ranges::minmax(trims);
  return most_ms - least_ms < 0.05 && most_db - least_db < 0.3;
}

void add_silence(const SpeakerResult& speaker, const SpeakerMeasurement& now, Findings& findings) {
  if (!now.trusted && !now.heard) {
    add(findings, Severity::stop, "tolerance", speaker.label,
        fmt::format(
            "{} (output {}) could not be judged: its sound is spoilt or nearly lost. Look at its trim ({} dB on "
            "the sheet), then measure again.",
            speaker.label, speaker.output, shown(*speaker.settings.trim_db, 1)));
    return;
  }
  add(findings, Severity::stop, "silent-output", speaker.label,
      fmt::format("Nothing is heard from {} (output {}) any more. Look at its mute and at its trim: the sheet says {} "
                  "dB; a decimal point moved or a large number would silence it.",
                  speaker.label, speaker.output, shown(*speaker.settings.trim_db, 1)));
}

/// Findings of the measurement: a `stop` stays, a `warn` becomes a note, because every verdict already allows for how
/// sure it is; what is judged here against the calibration is left out.
void add_measured(const PositionMeasurement& now, Findings& findings) {
  for (Finding finding : now.findings) {
    if (std::ranges::find(judged_closer_here, finding.code) != judged_closer_here.end()) continue;
    if (finding.severity == Severity::warn) finding.severity = Severity::note;
    findings.push_back(std::move(finding));
  }
}

void add_bass(Verification& result) {
  const SpeakerVerdict* worst = nullptr;
  bool others_fail = false;
  for (const SpeakerVerdict& verdict : result.speakers) {
    others_fail = others_fail || verdict.verdict == Verdict::fail;
    if (!verdict.bass_db || verdict.bass_db->passed()) continue;
    if (worst == nullptr || std::abs(verdict.bass_db->error) > std::abs(worst->bass_db->error)) worst = &verdict;
  }
  if (worst == nullptr) return;
  add(result.findings, others_fail ? Severity::note : Severity::warn, "tolerance", worst->label,
      fmt::format("{} together with the sub is {:.1f} dB {} than it should be an octave each side of the crossover{}.",
                  worst->label, std::abs(worst->bass_db->error), worst->bass_db->error > 0.0 ? "louder" : "weaker",
                  others_fail ? ", by what is named above" : ": look at the sub's delay and polarity"));
}

int rank(Severity severity) { return severity == Severity::stop ? 0 : severity == Severity::warn ? 1 : 2; }

}  // namespace

void add_verification_findings(const Calibration& against, const PositionMeasurement& now, Verification& result) {
  Findings& findings = result.findings;
  if (nothing_typed_in(against, result)) {
    add(findings, Severity::stop, "tolerance", std::nullopt,
        "Every speaker measures as it did before: nothing was typed in, or a switch bypasses the settings.");
  }
  add_exchanges(against, result);
  for (std::size_t s = 0; s < result.speakers.size(); ++s) {
    const SpeakerVerdict& verdict = result.speakers[s];
    const SpeakerResult& speaker = against.speakers[s];
    if (verdict.verdict == Verdict::not_judged) {
      add(findings, Severity::warn, "tolerance", speaker.label,
          fmt::format("{} (output {}) is not judged: the calibration has no settings for it. Calibrate again once it "
                      "plays.",
                      speaker.label, speaker.output));
      continue;
    }
    if (!verdict.delay_ms) {
      add_silence(speaker, now.speakers[s], findings);
      continue;
    }
    for (const Suspicion& suspicion : verdict.suspicions) {
      add(findings, Severity::warn, "tolerance", speaker.label,
          fmt::format("{} (output {}): {}", speaker.label, speaker.output,
                      words_of(suspicion, verdict, speaker, against.rig)));
    }
  }
  add_bass(result);
  if (!result.responses_compared) {
    add(findings, Severity::note, "tolerance", std::nullopt,
        "The impulse responses saved with the calibration were not found beside it, so only arrival, level and "
        "polarity "
        "were judged, not the equaliser.");
  }
  if (result.crossover == CrossoverState::on || result.crossover == CrossoverState::mains_only) {
    add(findings, Severity::note, "bass-management-active", std::nullopt,
        "The interface's bass management was active while this was measured; it is allowed for.");
  }
  for (const Finding& old : against.findings) {
    if (old.code != "delay-out-of-range" && old.code != "trim-out-of-range") continue;
    findings.push_back({Severity::note, old.code, old.speaker, "As the calibration said: " + old.message});
  }
  add_measured(now, findings);
  std::ranges::stable_sort(findings, {}, [](const Finding& finding) { return rank(finding.severity); });
}

}  // namespace ringtrue
