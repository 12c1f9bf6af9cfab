#include "bass_notes.hpp"

#include <fmt/format.h>

#include <cmath>

namespace ringtrue {
namespace {

using Subs = std::vector<BassAlignmentResult::Sub>;

/// "3.90 ms earlier" and so on.
std::string shift_in_words(double shift_ms) {
  if (std::abs(shift_ms) < 0.005) return "no earlier or later";
  return fmt::format("{:.2f} ms {}", std::abs(shift_ms), shift_ms > 0.0 ? "later" : "earlier");
}

/// What was done with each sub.
std::string choice_in_words(const Subs& subs, const SubwooferGroup& group, const Calibration& calibration) {
  std::string words;
  for (std::size_t k = 0; k < subs.size(); ++k) {
    const bool inverted = calibration.speakers[group.members[k]].settings.invert;
    words += fmt::format("{}{} is set {} than by arrival alone and {}", k == 0 ? "" : ", ", subs[k].label,
                         shift_in_words(subs[k].shift_ms), inverted ? "inverted" : "not inverted");
    if (subs[k].gain_db < 0.0) words += fmt::format(" ({:.1f} dB below the loudest)", -subs[k].gain_db);
  }
  return words;
}

std::string worst_in_words(const BassAlignmentResult& bass) {
  const double change_db = bass.worst_main_change_db;
  return fmt::format("{} {}, {:.1f} dB", bass.worst_main, change_db < 0.0 ? "loses most" : "gains least",
                     std::abs(change_db));
}

/// How much the bass of several subs differs from one mic position to the next; nothing for one sub or one position.
std::string variation_in_words(const std::optional<std::array<double, 2>>& variance_db2) {
  if (!variance_db2) return "";
  const auto& [together, as_set] = *variance_db2;
  return fmt::format(" Between the mic positions their level differs by {:.1f} dB (arriving together: {:.1f} dB).",
                     std::sqrt(as_set), std::sqrt(together));
}

}  // namespace

void add_subwoofer_note(const SubwooferGroup& group, Calibration& calibration) {
  const BassAlignmentResult& bass = *calibration.bass_alignment;
  calibration.findings.push_back(
      {Severity::note, "subwoofer-alignment", bass.subs.size() == 1 ? std::optional{bass.subs[0].label} : std::nullopt,
       fmt::format("{}: so main and sub add up best over all mains and mic positions. From {:.0f} to {:.0f} Hz that "
                   "wins {:.1f} dB on average over arrival alone; {}.{}",
                   choice_in_words(bass.subs, group, calibration), bass.band_hz[0], bass.band_hz[1], bass.gain_db,
                   worst_in_words(bass), variation_in_words(bass.spatial_variance_db2))});
}

void add_lfe_group_note(const SubwooferGroup& group, Calibration& calibration) {
  const LfeGroupResult& lfe = calibration.lfe_groups.back();
  calibration.findings.push_back(
      {Severity::note, "subwoofer-alignment", std::nullopt,
       fmt::format(
           "{} play the LFE channel together, {:.1f} dB above each alone at the listening position: their trims "
           "are lower by that. {}.{}",
           labels_in_words(lfe.subs), group.sum_over_one_db, choice_in_words(lfe.subs, group, calibration),
           variation_in_words(lfe.spatial_variance_db2))});
}

void add_phase_switch_note(double wins_db, Calibration& calibration) {
  calibration.findings.push_back(
      {Severity::note, "subwoofer-alignment", std::nullopt,
       fmt::format("Main and sub would add up another {:.1f} dB better with {} the other way round, which this "
                   "interface cannot switch: turn the phase switch on the sub itself and measure again.",
                   wins_db, labels_in_words(calibration.bass_alignment->subs))});
}

}  // namespace ringtrue
