#pragma once

#include <array>
#include <optional>
#include <string>
#include <vector>

#include "ringtrue/calibration/bass_picture.hpp"
#include "ringtrue/calibration/room.hpp"
#include "ringtrue/core/finding.hpp"
#include "ringtrue/core/geometry.hpp"
#include "ringtrue/correction/equaliser.hpp"
#include "ringtrue/rig/rig.hpp"

namespace ringtrue {

enum class Status { ok, silent, unreliable };
enum class Polarity { normal, inverted, unsure };
enum class TimeReference { loopback, earliest_arrival };

[[nodiscard]] const char* name(Status status);
[[nodiscard]] const char* name(Polarity polarity);
[[nodiscard]] const char* name(TimeReference reference);  // "loopback", "earliest arrival"

/// What was measured of one speaker at one mic position; empty where there is no answer.
struct PositionResult {
  std::optional<double> arrival_ms;              // after the time reference
  std::optional<double> arrival_uncertainty_ms;  // one standard deviation
  std::optional<double> distance_m;              // only with an absolute time
  std::optional<double> level_db;                // contract's definition, relative; SPL: + spl_offset_db
  std::optional<double> level_uncertainty_db;    // one standard deviation
  std::optional<double> signal_to_noise_db;      // in the band of level_db
  std::optional<double> decay_time_s;            // 500 Hz and 1 kHz octaves together
  friend bool operator==(const PositionResult&, const PositionResult&) = default;
};

/// Where a speaker's response in the room has fallen off, power average of all mic positions, half-octave means,
/// against 200-800 Hz (a sub: 30-80 Hz). Empty: not within what was measured.
struct BandEnds {
  std::optional<double> low_3_db_hz;  // lowest frequency at which it is no more than 3 dB down
  std::optional<double> low_10_db_hz;
  std::optional<double> high_3_db_hz;  // highest; subs only
  std::optional<double> high_10_db_hz;
  friend bool operator==(const BandEnds&, const BandEnds&) = default;
};

/// One octave of the bass at the listening position.
struct LowOctave {
  double centre_hz = 63.0;
  double level_db = 0.0;
  double signal_to_noise_db = 0.0;  // against what differs from one sweep to the next
  friend bool operator==(const LowOctave&, const LowOctave&) = default;
};

/// Where a speaker was found, from four or more mic spots (docs/placement.md). One standard deviation each, the mic
/// spots' own errors included.
struct FoundPlace {
  Direction direction;                           // from the ear point
  double direction_uncertainty_deg = 0.0;        // per axis
  std::optional<double> distance_m;              // from the ear point; empty: only the direction is known
  std::optional<double> distance_uncertainty_m;  // with distance_m
  friend bool operator==(const FoundPlace&, const FoundPlace&) = default;
};

struct MeasuredSpeaker {
  Polarity polarity = Polarity::unsure;
  std::optional<Point> position_m;  // when it could be located, its distance included
  std::vector<PositionResult> positions;
  BandEnds band_ends{};
  std::vector<LowOctave> low_octaves{};  // up to 125 Hz, as far as it was driven there
  std::optional<FoundPlace> found{};     // when it could be located
  SpeakerRoom room{};
  friend bool operator==(const MeasuredSpeaker&, const MeasuredSpeaker&) = default;
};

/// What to type in for one output, rounded to the interface's steps and inside its ranges.
/// Empty where the speaker is silent or unreliable: nothing is guessed.
struct Settings {
  std::optional<double> delay_ms;
  std::optional<double> trim_db;
  bool invert = false;
  std::vector<Filter> equaliser;
  friend bool operator==(const Settings&, const Settings&) = default;
};

/// What a speaker's filters are made for and expected to do. Third octaves stand on
/// `CorrectionResult::third_octave_hz`; their levels are relative to the target's 0 dB.
struct SpeakerCorrection {
  std::array<double, 2> band_hz{};   // what was corrected
  double level_change_db = 0.0;      // what the filters do to the speaker's level, made up for by its trim
  double largest_boost_db = 0.0;     // of all filters together, at any frequency
  double deviation_before_db = 0.0;  // standard deviation from the target over the band, average of positions
  double deviation_after_db = 0.0;
  std::vector<double> target_db;
  std::vector<std::vector<double>> before_db;  // [mic position]
  std::vector<std::vector<double>> after_db;
  std::vector<double>
      fir_gain_db{};  // on CorrectionResult::fir_frequency_hz, when finite impulse responses do the work
  friend bool operator==(const SpeakerCorrection&, const SpeakerCorrection&) = default;
};

/// What all corrections have in common.
struct CorrectionResult {
  std::string target = "flat";
  double transition_hz = 200.0;         // narrow corrections below, broad ones shared by pairs above
  std::string transition_from;          // "room", "option" or "guess"
  std::vector<double> third_octave_hz;  // nominal centres
  int fir_taps = 0;                     // of finite impulse responses in place of the interface's filters; 0: none
  bool fir_mixed_phase = false;
  std::vector<double> fir_frequency_hz{};
  friend bool operator==(const CorrectionResult&, const CorrectionResult&) = default;
};

struct SpeakerResult {
  std::string label;
  int output = 1;
  SpeakerKind kind = SpeakerKind::main;
  Status status = Status::ok;
  MeasuredSpeaker measured;
  Settings settings;
  std::optional<SpeakerCorrection> correction{};  // empty where nothing was to be corrected
  friend bool operator==(const SpeakerResult&, const SpeakerResult&) = default;
};

/// True when there is a delay and a trim to type in.
[[nodiscard]] bool has_settings(const SpeakerResult& speaker);

/// How the sub was set to add up with the mains, and what that is worth.
struct BassAlignmentResult {
  struct Sub {
    std::string label;
    double shift_ms = 0.0;  // later than what its arrival alone would ask for; negative: earlier
    double gain_db = 0.0;   // against the loudest of several subs, <= 0
    friend bool operator==(const Sub&, const Sub&) = default;
  };
  std::vector<Sub> subs;
  std::optional<std::array<double, 2>> spatial_variance_db2{};  // of several subs: arriving together, as they are set
  std::array<double, 2> band_hz{};  // an octave each side of the crossover: where everything below was judged
  double gain_db = 0.0;             // over arrival alone: mean of the level in dB, of all mains by importance
  double power_gain_db = 0.0;       // over arrival alone: level of the band's power
  std::string worst_main;           // the main for which the change is least
  double worst_main_change_db = 0.0;
  friend bool operator==(const BassAlignmentResult&, const BassAlignmentResult&) = default;
};

/// "LFE and LFE2"
[[nodiscard]] std::string labels_in_words(const std::vector<BassAlignmentResult::Sub>& subs);

/// Subs that play one LFE channel and nothing of the mains.
struct LfeGroupResult {
  std::vector<BassAlignmentResult::Sub> subs;                   // shifts against what arrival alone asks for, >= 0
  std::optional<std::array<double, 2>> spatial_variance_db2{};  // of several subs: arriving together, as they are set
  friend bool operator==(const LfeGroupResult&, const LfeGroupResult&) = default;
};

/// What other crossover frequencies would do with these speakers in this room.
struct CrossoverSuggestion {
  struct Trial {
    double crossover_hz = 80.0;
    double shortfall_db = 0.0;  // of main and sub against adding up in phase, mean over an octave each side
    double roughness_db = 0.0;  // standard deviation of the smoothed sum
    friend bool operator==(const Trial&, const Trial&) = default;
  };
  /// Mains that the rig gives a crossover of their own, alike, tried while all others keep theirs.
  struct Group {
    std::vector<std::string> mains;
    double crossover_hz = 80.0;
    std::vector<Trial> tried;
    friend bool operator==(const Group&, const Group&) = default;
  };
  double crossover_hz = 80.0;  // for the mains without one of their own
  std::vector<Trial> tried;    // ascending; empty when every main has its own
  std::vector<Group> own{};
  friend bool operator==(const CrossoverSuggestion&, const CrossoverSuggestion&) = default;
};

/// What locating the speakers went by.
struct Locating {
  double speed_of_sound_m_s = 344.4;
  bool speed_solved = false;           // found with the places; otherwise that of the rig's temperature
  double spot_uncertainty_m = 0.0058;  // how far the mic spots seem to be off, one standard deviation per axis
  friend bool operator==(const Locating&, const Locating&) = default;
};

/// The result of `calibrate`, schema "ringtrue.calibration/1".
struct Calibration {
  Rig rig;
  std::string date{};  // as the user gave it, else empty: no clock is read, so that the same inputs give the same bytes
  TimeReference time_reference = TimeReference::earliest_arrival;
  std::vector<SpeakerResult> speakers;                  // in the rig's order
  std::optional<BassAlignmentResult> bass_alignment{};  // with bass management and a sub that is heard
  std::vector<LfeGroupResult> lfe_groups{};             // subs that are heard and play the LFE alone
  /// What a full-scale LFE signal needs at the output of the sub that plays it loudest, dB full scale: above 0 it clips
  /// there. With bass management and a sub that is heard.
  std::optional<double> lfe_peak_dbfs{};
  std::optional<BassPicture> bass_picture{};                  // with `bass_alignment`
  std::optional<CrossoverSuggestion> crossover_suggestion{};  // when it was asked for
  std::optional<CorrectionResult> correction{};               // when the interface has an equaliser
  std::optional<Locating> locating{};                         // when places were looked for
  RoomResult room{};
  Findings findings{};
  friend bool operator==(const Calibration&, const Calibration&) = default;
};

/// True for a sub whose delay and polarity were chosen for a sum, with the mains or with other subs, whatever it
/// measured.
[[nodiscard]] bool set_by_sum(const Calibration& calibration, const SpeakerResult& speaker);

/// True when a finding of severity stop or warn needs the user's eyes (exit status 1).
[[nodiscard]] bool needs_attention(const Findings& findings);

}  // namespace ringtrue
