#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "ringtrue/response/fellows.hpp"

namespace ringtrue {
namespace {

// Below 10 dB a band is not valid (common practice); 15 dB leaves the level within 0.1 dB at the lengths used here.
constexpr double needed_db = 15.0;

struct Poorest {
  double signal_to_noise_db = 1e9;
  double centre_hz = 0.0;
};

Poorest poorest_octave(const SpeakerMeasurement& speaker, SpeakerKind kind) {
  if (kind == SpeakerKind::sub) return {speaker.signal_to_noise_db, 50.0};
  Poorest poorest;
  for (const OctaveReading& octave : speaker.octaves) {
    if (octave.centre_hz < 100.0 || octave.centre_hz > 10'000.0) continue;
    if (octave.signal_to_noise_db < poorest.signal_to_noise_db) poorest = {octave.signal_to_noise_db, octave.centre_hz};
  }
  return poorest;
}

std::string remedy(const Poorest& poorest) {
  const double missing_db = needed_db - poorest.signal_to_noise_db;
  return fmt::format("Measure {:.0f} dB louder, or with sweeps {:.0f} times as long, or when it is quieter.",
                     std::ceil(missing_db), std::ceil(std::pow(10.0, missing_db / 10.0)));
}

}  // namespace

void find_low_signal(const Rig& rig, PositionMeasurement& measurement) {
  std::vector<std::size_t> poor;
  std::size_t heard = 0;
  Poorest worst;
  for (std::size_t s = 0; s < rig.speakers.size(); ++s) {
    const SpeakerMeasurement& speaker = measurement.speakers[s];
    if (!speaker.heard || !speaker.trusted) continue;
    ++heard;
    const Poorest poorest = poorest_octave(speaker, rig.speakers[s].kind);
    if (poorest.signal_to_noise_db >= needed_db) continue;
    poor.push_back(s);
    if (poorest.signal_to_noise_db < worst.signal_to_noise_db) worst = poorest;
  }
  if (poor.empty()) return;
  if (poor.size() > 2 && 2 * poor.size() >= heard) {
    measurement.findings.push_back(
        {Severity::warn, "low-signal-to-noise", std::nullopt,
         fmt::format(
             "{}: the noise is too loud for {} of {} speakers; around {:.0f} Hz the signal stands only {:.0f} dB "
             "over it. {}",
             measurement.name, poor.size(), heard, worst.centre_hz, worst.signal_to_noise_db, remedy(worst))});
    return;
  }
  for (const std::size_t s : poor) {
    const Poorest poorest = poorest_octave(measurement.speakers[s], rig.speakers[s].kind);
    measurement.findings.push_back(
        {Severity::warn, "low-signal-to-noise", rig.speakers[s].label,
         fmt::format("{}: around {:.0f} Hz {} stands only {:.0f} dB over the noise. {}", measurement.name,
                     poorest.centre_hz, rig.speakers[s].label, poorest.signal_to_noise_db, remedy(poorest))});
  }
}

}  // namespace ringtrue
