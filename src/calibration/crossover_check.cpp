#include "crossover_check.hpp"

#include <fmt/format.h>

#include <algorithm>

namespace ringtrue {
namespace {

std::string main_words(const SpeakerResult& main, double crossover_hz) {
  return fmt::format(
      "{} is 10 dB down at {:.0f} Hz in this room, above its crossover of {:.0f} Hz: there is a hole in "
      "between. Try --suggest-crossover.",
      main.label, *main.measured.band_ends.low_10_db_hz, crossover_hz);
}

std::string sub_words(const SpeakerResult& sub, double crossover_hz) {
  return fmt::format(
      "{} is 10 dB down at {:.0f} Hz in this room, below the crossover of {:.0f} Hz: switch off its own "
      "low-pass or turn it to its highest frequency.",
      sub.label, *sub.measured.band_ends.high_10_db_hz, crossover_hz);
}

}  // namespace

void add_crossover_notes(const Rig& rig, Calibration& calibration) {
  if (mains_full_range(rig)) return;
  double highest_hz = 0.0;
  const auto note = [&](const SpeakerResult& speaker, const std::string& words) {
    calibration.findings.push_back({Severity::note, "crossover-unsuitable", speaker.label, words});
  };
  for (std::size_t s = 0; s < rig.speakers.size(); ++s) {
    const SpeakerResult& main = calibration.speakers[s];
    if (main.kind != SpeakerKind::main) continue;
    const double crossover_hz = rig.speakers[s].crossover_hz.value_or(rig.bass_management->crossover_hz);
    highest_hz = std::max(highest_hz, crossover_hz);
    if (main.measured.band_ends.low_10_db_hz.value_or(0.0) > crossover_hz) note(main, main_words(main, crossover_hz));
  }
  for (std::size_t s = 0; s < rig.speakers.size(); ++s) {
    if (!plays_lows_of_mains(rig, s)) continue;
    const SpeakerResult& sub = calibration.speakers[s];
    if (sub.measured.band_ends.high_10_db_hz.value_or(1e9) < highest_hz) note(sub, sub_words(sub, highest_hz));
  }
}

}  // namespace ringtrue
