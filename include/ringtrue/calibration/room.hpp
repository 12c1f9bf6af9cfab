#pragma once

#include <array>
#include <optional>
#include <string>
#include <vector>

#include "ringtrue/response/background_noise.hpp"
#include "ringtrue/response/harmonics.hpp"

namespace ringtrue {

/// Decay in one band: means over responses (ISO 3382-1: of the times themselves); empty where none has an answer.
struct DecayBand {
  double centre_hz = 1'000.0;
  std::optional<double> early_s;            // EDT
  std::optional<double> reverberation_s;    // T30, or T20 where the range allows no more
  std::optional<double> uncertainty_s;      // one standard deviation of the mean; one response: expected of noise
  std::optional<double> curvature_percent;  // 100 (T30 / T20 - 1)
  std::optional<double> clarity_50_db;
  std::optional<double> clarity_80_db;
  std::optional<double> centre_time_ms;
  int responses = 0;  // that have a reverberation time
  friend bool operator==(const DecayBand&, const DecayBand&) = default;
};

/// A reflection at the listening position.
struct ReflectionResult {
  double delay_ms = 0.0;  // after the direct sound
  double path_m = 0.0;    // longer than the direct sound's
  double level_db = 0.0;  // re the direct sound, 1 to 8 kHz
  std::string surface;    // "floor", "ceiling", "left wall" ...; empty: none of them fits, or the room is not known
  friend bool operator==(const ReflectionResult&, const ReflectionResult&) = default;
};

/// What the room and the speaker itself do to one speaker's sound.
struct SpeakerRoom {
  std::vector<DecayBand> octaves;             // over the mic positions
  std::vector<ReflectionResult> reflections;  // ascending in time
  std::vector<HarmonicReading> harmonics;     // at the listening position, third octaves
  friend bool operator==(const SpeakerRoom&, const SpeakerRoom&) = default;
};

/// A peak below 200 Hz that most speakers share at most mic positions.
struct Resonance {
  double frequency_hz = 0.0;
  double height_db = 0.0;             // over the level an octave around
  std::optional<double> box_mode_hz;  // the mode of the box it could be
  std::array<int, 3> order{};         // of that mode: front-back, width, height
  friend bool operator==(const Resonance&, const Resonance&) = default;
};

/// Where the ear point seems to stand, from which walls fit the reflections.
struct EarPlace {
  std::optional<double> from_left_m;
  std::optional<double> from_front_m;
  friend bool operator==(const EarPlace&, const EarPlace&) = default;
};

/// What an equaliser cannot mend.
struct RoomResult {
  std::vector<DecayBand> octaves;  // over all speakers and mic positions
  std::vector<DecayBand> third_octaves;
  std::optional<double> schroeder_hz;  // where single modes end: 2000 sqrt(T / V)
  std::vector<Resonance> resonances;   // ascending in frequency
  EarPlace ear;
  std::vector<NoiseReading> noise;          // octaves at the listening position
  std::optional<NoiseRating> noise_rating;  // level-calibrated only
  friend bool operator==(const RoomResult&, const RoomResult&) = default;
};

}  // namespace ringtrue
