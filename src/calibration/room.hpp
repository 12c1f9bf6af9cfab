#pragma once

#include <optional>
#include <span>
#include <vector>

#include "bass_responses.hpp"
#include "ringtrue/calibration/calibration.hpp"
#include "ringtrue/response/measurement.hpp"

namespace ringtrue {

/// Modes of a box that a resonance could be, one order per axis: f = (c/2) sqrt((n/L)^2 + (m/W)^2 + (k/H)^2).
struct BoxMode {
  double frequency_hz = 0.0;
  std::array<int, 3> order{};
};

/// All modes up to a frequency, ascending. @param size_m  length, width, height
[[nodiscard]] std::vector<BoxMode> box_modes(const std::array<double, 3>& size_m, double c_m_s, double up_to_hz);

/// Peaks from 25 to 200 Hz that stand 3 dB or more over the octave around in the mean of all speakers (each: power mean
/// of the mic positions, smoothed over a twelfth octave); at most six, the highest. With the room's size, the mode they
/// could be: within 4 %, an axial one before others.
[[nodiscard]] std::vector<Resonance> find_resonances(const Rig& rig, const BassMeasurement& bass,
                                                     std::span<const SpeakerResult> speakers);

/// Decay, reflections, harmonics, noise: everything of the room but the resonances. Speakers must have their places.
void set_room(const Rig& rig, std::span<const PositionMeasurement> positions, std::optional<double> full_scale_db_spl,
              Calibration& calibration);

/// Names the surfaces that could cause each speaker's reflections, from the room's size and the speakers' places.
///
/// Image sources: floor and ceiling are known with the ear's height. The walls are at unknown distances from the ear,
/// but left and right add up to the width, front and back to the length: for each axis the place that explains most of
/// the reflections is looked for, and believed when it explains more than half of what it should and clearly more than
/// any other place. A surface is named when its reflection is due within 0.25 ms.
void name_surfaces(const Rig& rig, Calibration& calibration);

/// Adds the few notes a producer can act on; all of severity `note`.
void add_room_notes(Calibration& calibration);

/// Mean of 500 Hz and 1 kHz, where both are known.
[[nodiscard]] std::optional<double> mid_reverberation_s(std::span<const DecayBand> octaves);

}  // namespace ringtrue
