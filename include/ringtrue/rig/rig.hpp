#pragma once

#include <array>
#include <cstddef>
#include <optional>
#include <string>
#include <vector>

#include "ringtrue/core/geometry.hpp"
#include "ringtrue/core/units.hpp"
#include "ringtrue/dsp/crossover_slope.hpp"

namespace ringtrue {

enum class SpeakerKind { main, sub };

/// The band of a speaker's level_db (docs/measuring.md, section 4).
[[nodiscard]] inline Band level_band_of(SpeakerKind kind) {
  return kind == SpeakerKind::sub ? Band{Hertz{30.0}, Hertz{80.0}} : Band{Hertz{500.0}, Hertz{2e3}};
}

[[nodiscard]] constexpr const char* name(SpeakerKind kind) { return kind == SpeakerKind::sub ? "sub" : "main"; }

/// One loudspeaker on one output of the interface.
struct Speaker {
  std::string label;                        // trade label ("Lss") or BS.2051 label ("M+090"), as the user wrote it
  int output = 1;                           // interface output, counted from 1
  SpeakerKind kind = SpeakerKind::main;     // default: sub when the label says LFE or sub, main otherwise
  Band band{Hertz{50.0}, Hertz{20'000.0}};  // what it may be driven with; default for a sub: 20-200 Hz
  std::optional<double> crossover_hz{};     // of this main alone, where the interface has more than one
  std::optional<Direction> nominal{};       // where it belongs, instead of its place in the layout
  bool lfe_only = false;                    // a sub that plays the LFE channel alone, in spite of the bass management
  friend bool operator==(const Speaker&, const Speaker&) = default;
};

[[nodiscard]] inline bool is_main(const Speaker& speaker) { return speaker.kind == SpeakerKind::main; }

/// What can be typed into the interface, per output.
struct Interface {
  double sample_rate_hz = 48'000.0;
  std::array<double, 2> trim_range_db{-20.0, 0.0};
  double trim_step_db = 0.1;
  std::array<double, 2> delay_range_ms{0.0, 40.0};
  double delay_step_ms = 0.01;
  int eq_bands = 8;  // 0: none
  std::array<double, 2> eq_gain_range_db{-12.0, 3.0};
  double eq_gain_step_db = 0.1;
  std::array<double, 2> eq_q_range{0.4, 10.0};
  std::array<double, 2> eq_frequency_range_hz{20.0, 20'000.0};
  bool polarity_switch = true;
  std::optional<int> loopback_output;  // a spare output that carries the sum of all others
  friend bool operator==(const Interface&, const Interface&) = default;
};

/// The interface's bass management: mains high-passed at the crossover, their lows sent to the sub.
struct BassManagement {
  double crossover_hz = 80.0;
  double lfe_gain_db = 10.0;
  CrossoverSlope slope = CrossoverSlope::lr24;
  friend bool operator==(const BassManagement&, const BassManagement&) = default;
};

/// The measuring microphone with its input, as `ringtrue level` found it.
struct MicrophoneFacts {
  std::optional<double> full_scale_spl_db;  // sound pressure level of a signal whose rms is 1.0 in the recording
  friend bool operator==(const MicrophoneFacts&, const MicrophoneFacts&) = default;
};

struct RoomFacts {
  std::optional<std::array<double, 3>> size_m;  // length (front-back), width, height
  double ear_height_m = 1.2;
  double temperature_c = 22.0;
  friend bool operator==(const RoomFacts&, const RoomFacts&) = default;
};

/// Volume in cubic metres; empty where the rig does not say how large the room is.
[[nodiscard]] inline std::optional<double> volume_m3(const RoomFacts& room) {
  if (!room.size_m) return {};
  return (*room.size_m)[0] * (*room.size_m)[1] * (*room.size_m)[2];
}

struct MicPosition {
  Point offset_m;  // from the ear point
  friend bool operator==(const MicPosition&, const MicPosition&) = default;
};

/// The whole installation as a value; see docs/rig.md for each key and its default.
struct Rig {
  std::string name;    // default: empty
  std::string layout;  // "4+7+0", "7.1.4", or any other text for a custom ring
  RoomFacts room;
  Interface interface;
  std::optional<BassManagement> bass_management;
  MicrophoneFacts microphone{};
  std::vector<Speaker> speakers;                      // in the order of the file
  std::vector<MicPosition> positions{MicPosition{}};  // the first is the listening position
  friend bool operator==(const Rig&, const Rig&) = default;
};

/// True for a sub that the interface sends the lows of the mains to.
[[nodiscard]] bool plays_lows_of_mains(const Rig& rig, std::size_t speaker);

/// How much louder than a main, dB, subs of the LFE alone have to be set so that the channel comes out 10 dB above the
/// mains, as it is recorded that much down: what the interface does not add itself. Source: ITU-R BS.775-3, ATSC
/// A/85:2013 (docs/alignment.md).
[[nodiscard]] double lfe_above_mains_db(const Rig& rig);

/// True where the interface leaves the mains' lows to the mains: no bass management, or subs of the LFE alone.
[[nodiscard]] bool mains_full_range(const Rig& rig);

/// Indices of the rig's speakers in the order of their interface outputs.
[[nodiscard]] std::vector<std::size_t> by_output(const Rig& rig);

/// The number of output channels a stimulus for this rig has: its highest output, loopback output included.
[[nodiscard]] int channel_count(const Rig& rig);

}  // namespace ringtrue
