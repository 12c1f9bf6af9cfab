#include "calibration_folder.hpp"

#include <fmt/format.h>

#include <system_error>

#include "console.hpp"
#include "ringtrue/calibration/calibration_json.hpp"
#include "ringtrue/core/errors.hpp"
#include "ringtrue/report/impulse_responses.hpp"

namespace ringtrue::app {
namespace {

std::filesystem::path file_of(const std::filesystem::path& path) {
  std::error_code error;
  return std::filesystem::is_directory(path, error) ? path / "calibration.json" : path;
}

/// The calibration's own arrivals, levels and signs, beside the responses they were read from.
void add_measures(const Calibration& calibration, std::vector<PositionMeasurement>& positions) {
  for (std::size_t s = 0; s < calibration.speakers.size(); ++s) {
    const MeasuredSpeaker& measured = calibration.speakers[s].measured;
    for (std::size_t p = 0; p < positions.size(); ++p) {
      SpeakerMeasurement& speaker = positions[p].speakers[s];
      if (p >= measured.positions.size() || !measured.positions[p].arrival_ms) {
        speaker = {};
        continue;
      }
      const PositionResult& result = measured.positions[p];
      speaker.trusted = calibration.speakers[s].status == Status::ok;
      speaker.arrival_ms = Estimate{*result.arrival_ms, result.arrival_uncertainty_ms.value_or(0.01)};
      if (result.level_db) speaker.level_db = Estimate{*result.level_db, result.level_uncertainty_db.value_or(0.05)};
      speaker.signal_to_noise_db = result.signal_to_noise_db.value_or(0.0);
      speaker.decay_time_s = result.decay_time_s;
      speaker.sign = measured.polarity == Polarity::normal     ? WooferSign::positive
                     : measured.polarity == Polarity::inverted ? WooferSign::negative
                                                               : WooferSign::unsure;
    }
  }
}

}  // namespace

Calibration read_calibration(const std::filesystem::path& path) {
  const std::filesystem::path file = file_of(path);
  return parse_calibration(read_text_file(file, largest_calibration_bytes), file.string());
}

SavedCalibration read_saved_calibration(const std::filesystem::path& path) {
  const std::filesystem::path file = file_of(path);
  SavedCalibration saved{read_calibration(file), {}};
  saved.positions = read_impulse_responses(file.parent_path() / "impulse-responses", saved.calibration.rig);
  add_measures(saved.calibration, saved.positions);
  return saved;
}

void require_same_speakers(const Rig& rig, const Calibration& calibration, const std::string& name) {
  const auto refuse = [&](const std::string& what) {
    throw InvalidInput{name, what, "give the rig that was calibrated, or calibrate again"};
  };
  if (rig.speakers.size() != calibration.speakers.size()) {
    refuse(fmt::format("has {} speakers, the rig has {}", calibration.speakers.size(), rig.speakers.size()));
  }
  for (std::size_t s = 0; s < rig.speakers.size(); ++s) {
    const Speaker& speaker = rig.speakers[s];
    const SpeakerResult& calibrated = calibration.speakers[s];
    if (speaker.label == calibrated.label && speaker.output == calibrated.output && speaker.kind == calibrated.kind) {
      continue;
    }
    refuse(fmt::format("has {} on output {} where the rig has {} on output {}", calibrated.label, calibrated.output,
                       speaker.label, speaker.output));
  }
}

}  // namespace ringtrue::app
