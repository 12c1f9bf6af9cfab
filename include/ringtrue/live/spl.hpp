#pragma once

#include <optional>
#include <span>
#include <string>

#include "ringtrue/capture/recording.hpp"
#include "ringtrue/rig/rig.hpp"
#include "ringtrue/stimulus/stimulus.hpp"

namespace ringtrue {

/// What a sound level meter shows of a recording, dB re 1.0 rms; add full_scale_spl_db for dB SPL.
struct MeterReading {
  double a_slow = -200.0;  // at the end
  double c_slow = -200.0;
  double z_slow = -200.0;
  double a_fast_highest = -200.0;
  double c_fast_highest = -200.0;
  double a_equivalent = -200.0;  // over the whole
  double c_equivalent = -200.0;
};
[[nodiscard]] MeterReading read_meter(std::span<const float> signal, double sample_rate_hz);

/// How loud full scale is, by a calibrator of a known level at 1 kHz on the microphone.
///
///     full scale = level - 20 lg(rms of the tone)
///
/// @param level_db  of the calibrator, 94 or 114 dB as IEC 60942 has them; the range 60 to 130 is taken
/// @throws InvalidInput  when there is no steady, clean tone of 990 to 1010 Hz in it (0.2 dB over its seconds, the rest
///                       20 dB below), or it is clipped
[[nodiscard]] double full_scale_by_calibrator(const Recording& recording, double level_db);

/// The same by a hand-held meter's C-weighted slow reading of noise that the microphone hears at the same time: its
/// middle over the noise's last three seconds, which are averaged here (of 500 Hz to 2 kHz: within 0.1 dB).
/// @param quiet_s  that the recording begins with for certain before the noise; 0: not known
/// @throws InvalidInput  when there is no second of steady noise, it does not stand 15 dB over what was before it, or
///                       is clipped
[[nodiscard]] double full_scale_by_meter(const Recording& recording, double reading_db, double quiet_s);

/// Pink noise of 500 Hz to 2 kHz on one speaker, the same at every call, with fades; quiet seconds first.
[[nodiscard]] Stimulus plan_pink_noise(const Rig& rig, std::size_t speaker, Decibels peak, Seconds quiet,
                                       Seconds length);

/// A stimulus of nothing: to record.
[[nodiscard]] Stimulus plan_silence(const Rig& rig, Seconds length);

}  // namespace ringtrue
