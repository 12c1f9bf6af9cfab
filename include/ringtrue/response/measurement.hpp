#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <vector>

#include "ringtrue/capture/recording.hpp"
#include "ringtrue/core/finding.hpp"
#include "ringtrue/response/background_noise.hpp"
#include "ringtrue/response/band_decay.hpp"
#include "ringtrue/response/harmonics.hpp"
#include "ringtrue/response/microphone_response.hpp"
#include "ringtrue/response/reflections.hpp"
#include "ringtrue/rig/rig.hpp"
#include "ringtrue/stimulus/stimulus.hpp"

namespace ringtrue {

/// A value with its standard uncertainty (one standard deviation), same unit.
struct Estimate {
  double value = 0.0;
  double uncertainty = 0.0;
};

/// The response of one output at one mic position, harmonic products cut off.
struct ImpulseResponse {
  double sample_rate_hz = 48'000.0;
  double first_sample_ms = 0.0;  // time of samples[0] after the time reference of its position
  std::vector<float> samples;    // microphone full scale per output full scale
};

/// Which way the woofer moves for a positive signal; `unsure` is an answer.
enum class WooferSign { positive, negative, unsure };

/// Level and signal-to-noise in one octave band, as level_db is defined.
struct OctaveReading {
  double centre_hz = 1'000.0;
  double level_db = 0.0;
  double signal_to_noise_db = 0.0;
  double uncertainty_db = 0.0;  // of the level; infinite where it is lost in the noise, and level_db is the noise's
};

/// What was measured of one speaker at one mic position.
struct SpeakerMeasurement {
  bool heard = false;      // false: silent, and nothing below is filled in
  bool trusted = true;     // false: spoilt (clipped, dropout), or not like its fellows
  bool bass_only = false;  // a main that is heard below 120 Hz only; then `heard` is false
  double direct_db = 0.0;  // height of the direct sound in the treble; not heard: what it would have taken to be heard
  double dispersion_ms = 0.0;  // how much later the direct sound's lower treble arrives than its upper
  ImpulseResponse response;
  std::optional<Estimate> arrival_ms;  // of the direct sound, after the time reference
  std::optional<Estimate> level_db;    // contract's definition: 500 Hz-2 kHz, or 30-80 Hz for a sub
  WooferSign sign = WooferSign::unsure;
  double signal_to_noise_db = 0.0;     // in the band of level_db
  std::optional<double> decay_time_s;  // 500 Hz and 1 kHz octaves together
  std::vector<OctaveReading> octaves;  // where the sweep is flat, ascending; IEC 61260-1 centres
  BandDecays decays;
  std::vector<Reflection> reflections;     // mains only, ascending in time
  std::vector<HarmonicReading> harmonics;  // empty where the sweeps do not show them
};

/// Everything one recording yielded, speakers in the rig's order.
struct PositionMeasurement {
  std::string name;              // of the recording, for messages
  bool absolute_time = false;    // arrivals count from the loopback; otherwise from the earliest arrival
  Estimate clock_ppm;            // recorder's clock against the player's
  double start_offset_ms = 0.0;  // stimulus start to recording start, to some milliseconds
  std::vector<SpeakerMeasurement> speakers;
  std::vector<NoiseReading> noise;  // of the recording before and after all sweeps; empty: too short to say
  Findings findings;
};

struct MeasureOptions {
  unsigned threads = 0;                            // 0: one per core; the result does not depend on it
  const MicrophoneResponse* microphone = nullptr;  // taken out of every response and level; none: taken as flat
};

/// From one recording to impulse responses and measures per output. Pure.
///
/// @param stimulus   what was played (its samples are used, fades included)
/// @param recording  may have started up to 0.5 s early or late, on a clock up to 200 ppm off, at another sample rate
/// @throws InvalidInput  when the recording cannot belong to this stimulus (too short, none of it found in it)
[[nodiscard]] PositionMeasurement measure(const Rig& rig, const Stimulus& stimulus, const Recording& recording,
                                          const MeasureOptions& options = {});

}  // namespace ringtrue
