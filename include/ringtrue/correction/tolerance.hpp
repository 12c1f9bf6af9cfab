#pragma once

#include <array>
#include <span>

namespace ringtrue {

/// The operational room response tolerance of listening rooms: third-octave level of a loudspeaker at the listening
/// position, against the mean of the levels from 200 Hz to 4 kHz.
///
///     50 Hz-2 kHz: -3 to +3 dB;  2-16 kHz: up to +3 dB, down to a line from -3 dB at 2 kHz to -6 dB at 16 kHz
///
/// Source: ITU-R BS.1116-3 (02/2015) 8.3.4 and EBU Tech 3276 2nd ed. (1998) 2.4, both FROM MEMORY, not re-read: good
/// for guidance, not for pass or fail.
/// @returns {lowest, highest} allowed, dB; 50 Hz to 16 kHz
[[nodiscard]] std::array<double, 2> room_response_tolerance_db(double frequency_hz);

/// How many third octaves lie outside that tolerance, of those inside [low, high] and 50 Hz-16 kHz.
[[nodiscard]] int outside_tolerance(std::span<const double> third_octave_hz, std::span<const double> level_db,
                                    const std::array<double, 2>& band_hz);

}  // namespace ringtrue
