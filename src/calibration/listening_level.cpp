#include <fmt/format.h>

#include <cmath>

#include "equalise.hpp"
#include "ringtrue/alignment/reference_level.hpp"
#include "ringtrue/calibration/sound_pressure.hpp"

namespace ringtrue {
namespace {

/// Power average over the mains with their settings, dB SPL of the reference noise.
std::optional<double> level_of_one_main(const Calibration& calibration, double offset_db) {
  double power = 0.0;
  int mains = 0;
  for (const SpeakerResult& speaker : calibration.speakers) {
    const bool usable = speaker.kind == SpeakerKind::main && speaker.status == Status::ok && speaker.settings.trim_db &&
                        speaker.measured.positions.front().level_db;
    if (!usable) continue;
    power += std::pow(10.0, 0.1 * (equalised_level_db(speaker) + *speaker.settings.trim_db));
    ++mains;
  }
  if (mains == 0) return {};
  return 10.0 * std::log10(power / mains) + offset_db;
}

}  // namespace

void add_listening_level_note(Calibration& calibration) {
  const Rig& rig = calibration.rig;
  const auto offset = spl_offset_db(rig);
  if (!offset) return;
  const auto level = level_of_one_main(calibration, *offset);
  if (!level) return;
  std::string text = fmt::format(
      "With these settings one main gives {:.1f} dB SPL at the listening position (pink noise of 500-2000 Hz at {:g} "
      "dBFS rms), as long as the microphone's gain is what it was for 'ringtrue level'.",
      *level, reference_noise_dbfs);
  if (const auto volume = volume_m3(rig.room)) {
    const ReferenceLevel reference = reference_level(*volume);
    const double change_db = reference.spl_db - *level;
    text += fmt::format(
        " For a room of {:.0f} m3 {:.0f} dB(C) is suggested ({}; {}): turn the monitor volume {} by {:.1f} dB.",
        *volume, reference.spl_db, reference.source, reference.certainty, change_db >= 0.0 ? "up" : "down",
        std::abs(change_db));
  } else {
    text += " Give the room's size_m in the rig for the level suggested there.";
  }
  calibration.findings.push_back({Severity::note, "listening-level", std::nullopt, text});
}

}  // namespace ringtrue
