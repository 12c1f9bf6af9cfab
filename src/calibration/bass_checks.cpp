#include "bass_checks.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

namespace ringtrue {
namespace {

constexpr double heard_loss_db = 0.05;
constexpr double quiet_enough_db = 20.0;            // signal to noise of an octave; below, its level errs by up to 1 dB
constexpr double half_octave = 1.4125375446227544;  // 10^0.15, IEC 61260-1

bool is_heard_sub(const SpeakerResult& speaker) {
  return speaker.kind == SpeakerKind::sub && speaker.settings.trim_db.has_value();
}

void add_lfe_gain_note(const Rig& rig, Findings& findings) {
  if (std::abs(lfe_above_mains_db(rig)) < heard_loss_db) return;
  findings.push_back({Severity::note, "lfe-gain", std::nullopt,
                      fmt::format("The LFE channel plays {:+.1f} dB against a main channel here (lfe_gain_db); it is "
                                  "recorded to play +10 dB. Set +10 dB in the interface if it can.",
                                  rig.bass_management->lfe_gain_db)});
}

void check_headroom(const Rig& rig, Calibration& calibration) {
  const SpeakerResult* loudest = nullptr;
  for (const SpeakerResult& sub : calibration.speakers) {
    if (!is_heard_sub(sub)) continue;
    if (loudest == nullptr || *sub.settings.trim_db > *loudest->settings.trim_db) loudest = &sub;
  }
  if (loudest == nullptr) return;
  calibration.lfe_peak_dbfs = *loudest->settings.trim_db + rig.bass_management->lfe_gain_db;
  const double over_db = *calibration.lfe_peak_dbfs;
  if (over_db < heard_loss_db) return;
  calibration.findings.push_back(
      {Severity::note, "lfe-headroom", loudest->label,
       fmt::format("A full-scale LFE signal would leave output {} ({}) {:.1f} dB above full scale: LFE peaks above "
                   "-{:.1f} dB full scale clip there, sooner with the mains' lows on top. If such peaks are to play, "
                   "turn {}'s own level up by {:.1f} dB and measure again: its trim falls by that much.",
                   loudest->output, loudest->label, over_db, over_db, loudest->label, over_db)});
}

/// The part of a sub's band that matters: from 10 dB down to an octave above the crossover.
bool matters(const Rig& rig, const SpeakerResult& sub, const LowOctave& octave) {
  const double crossover_hz = rig.bass_management ? rig.bass_management->crossover_hz : 80.0;
  return octave.centre_hz > sub.measured.band_ends.low_10_db_hz.value_or(0.0) &&
         octave.centre_hz < std::min(2.0 * crossover_hz, sub.measured.band_ends.high_10_db_hz.value_or(1e9));
}

void check_noise(const Rig& rig, const SpeakerResult& sub, Findings& findings) {
  double low_hz = 1e9;
  double high_hz = 0.0;
  const LowOctave* worst = nullptr;
  for (const LowOctave& octave : sub.measured.low_octaves) {
    if (!matters(rig, sub, octave) || octave.signal_to_noise_db >= quiet_enough_db) continue;
    low_hz = std::min(low_hz, octave.centre_hz / half_octave);
    high_hz = std::max(high_hz, octave.centre_hz * half_octave);
    if (worst == nullptr || octave.signal_to_noise_db < worst->signal_to_noise_db) worst = &octave;
  }
  if (worst == nullptr) return;
  findings.push_back(
      {Severity::note, "low-frequency-noise", sub.label,
       fmt::format("From {:.0f} to {:.0f} Hz {} stands as little as {:.0f} dB over what differs from one of its sweeps "
                   "to the next. That is traffic or ventilation, or {} itself: air in its port, something that "
                   "rattles. Listen from close by while it plays.",
                   low_hz, high_hz, sub.label, std::max(0.0, worst->signal_to_noise_db), sub.label)});
}

}  // namespace

void check_bass(const Rig& rig, Calibration& calibration) {
  if (rig.bass_management && std::ranges::any_of(calibration.speakers, is_heard_sub)) {
    if (!mains_full_range(rig)) add_lfe_gain_note(rig, calibration.findings);
    check_headroom(rig, calibration);
  }
  for (const SpeakerResult& speaker : calibration.speakers) {
    if (speaker.kind == SpeakerKind::sub && speaker.status == Status::ok)
      check_noise(rig, speaker, calibration.findings);
  }
}

}  // namespace ringtrue
