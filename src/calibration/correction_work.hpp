#pragma once

#include <span>
#include <vector>

#include "ringtrue/calibration/calibrate.hpp"
#include "ringtrue/correction/wanted_correction.hpp"

namespace ringtrue {

/// One speaker on its way to filters.
struct CorrectionWork {
  std::size_t speaker = 0;
  std::vector<HeardResponse> responses;           // listening position first
  std::vector<PowerCells> cells;                  // as many
  Band level_band{Hertz{500.0}, Hertz{2'000.0}};  // of level_db
  NaturalEnds ends;
  Band band{Hertz{20.0}, Hertz{20'000.0}};
  ResponseToCorrect response;
  WantedCorrection wanted;
};

/// All speakers of a calibration that can be corrected, with their responses; `wanted` is still empty.
[[nodiscard]] std::vector<CorrectionWork> correction_works(const Rig& rig,
                                                           std::span<const PositionMeasurement> positions,
                                                           const CorrectionOptions& options, Hertz transition,
                                                           const Calibration& calibration);

/// Which of them are corrected together: left-right pairs, and single speakers.
[[nodiscard]] std::vector<std::vector<std::size_t>> correction_groups(const Rig& rig,
                                                                      std::span<const CorrectionWork> works);

/// The target with the speaker's own ends at some frequencies, dB.
[[nodiscard]] std::vector<double> target_levels_db(const CorrectionWork& work, const TargetCurve& target,
                                                   std::span<const double> frequency_hz);

/// The Schroeder frequency of the rig's room; empty where its size or decay time is not known.
[[nodiscard]] std::optional<double> schroeder_hz(const Rig& rig, std::span<const SpeakerResult> speakers);

}  // namespace ringtrue
