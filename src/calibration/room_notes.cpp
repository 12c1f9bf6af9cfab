#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <map>

#include "room.hpp"

namespace ringtrue {
namespace {

constexpr double long_decay_s = 0.45;  // EBU Tech 3276 wants 0.2 to 0.4 s of any listening room
constexpr double long_bass = 1.8;      // times the middle's decay
constexpr double long_bass_s = 0.6;
constexpr double two_slopes_percent = 20.0;     // docs/measured-rooms.md: single octaves of one slope reach 16 %
constexpr double strong_reflection_db = -10.0;  // EBU Tech 3276 2.2, ITU-R BS.1116-3
constexpr double early_ms = 15.0;
constexpr double high_resonance_db = 5.0;
constexpr double bass_limit_db = -30.0;  // ITU-R BS.1116-3: 3 % below 250 Hz, 1 % above, at 90 dB (from memory)
constexpr double treble_limit_db = -40.0;
constexpr double bass_ends_hz = 250.0;
constexpr std::size_t bands_in_a_row = 3;   // an octave
constexpr double loud_noise_rating = 20.0;  // EBU Tech 3276 allows control rooms NR 15 (from memory)

void note(Calibration& calibration, const char* code, std::optional<std::string> speaker, std::string message) {
  calibration.findings.push_back({Severity::note, code, std::move(speaker), std::move(message)});
}

std::string list(const std::vector<std::string>& names) {
  std::string text;
  for (std::size_t i = 0; i < names.size(); ++i) {
    text += (i == 0 ? "" : i + 1 == names.size() ? " and " : ", ") + names[i];
  }
  return text;
}

/// The first few, and how many more.
std::string some(const std::vector<std::string>& names, std::size_t shown) {
  if (names.size() <= shown + 1) return list(names);
  std::vector<std::string> first(names.begin(), names.begin() + static_cast<std::ptrdiff_t>(shown));
  first.push_back(fmt::format("{} more", names.size() - shown));
  return list(first);
}

std::optional<double> bass_reverberation_s(const RoomResult& room) {
  for (const DecayBand& band : room.octaves) {
    if (band.centre_hz < 140.0 && band.reverberation_s) return band.reverberation_s;
  }
  return {};
}

void add_decay_note(Calibration& calibration) {
  const RoomResult& room = calibration.room;
  const auto middle = mid_reverberation_s(room.octaves);
  if (!middle) return;
  const auto bass = bass_reverberation_s(room);
  const bool is_long = *middle > long_decay_s;
  const bool booms = bass && *bass > long_bass_s && *bass > long_bass * *middle;
  if (!is_long && !booms) return;
  std::string text = fmt::format("The room takes about {:.1f} s to die away by 60 dB", *middle);
  if (is_long)
    text += ", where listening rooms aim at 0.2 to 0.4 s: more absorbing surface, on walls and ceiling, would dry it";
  if (booms) {
    text += fmt::format("{} {:.1f} s in the bass: only thick absorbers, best in the corners, help there",
                        is_long ? "; and" : ", but", *bass);
  }
  note(calibration, "room-decay", std::nullopt, text + ". An equaliser cannot.");
}

void add_slopes_note(Calibration& calibration) {
  int curved = 0;
  int judged = 0;
  for (const DecayBand& band : calibration.room.octaves) {
    if (band.centre_hz < 200.0 || band.centre_hz > 2'500.0 || !band.curvature_percent) continue;
    ++judged;
    curved += *band.curvature_percent > two_slopes_percent;
  }
  if (curved < 2 || 2 * curved < judged) return;
  note(
      calibration, "two-slopes", std::nullopt,
      "The sound dies away in two steps, quickly first and slowly after: as through an open door into another room, or "
      "between two bare walls that face each other. No single decay time describes it; shut the door, or break up the "
      "bare walls.");
}

struct SurfaceEcho {
  std::vector<std::string> speakers;
  double strongest_db = -100.0;
  double nearest_m = 1e9;
  double farthest_m = 0.0;
};

const char* remedy_for(const std::string& surface) {
  if (surface == "floor") return "a thick rug between speakers and chair";
  if (surface == "ceiling") return "an absorber under the ceiling above the chair";
  return "an absorber where a mirror on it would show the speaker";
}

void add_reflection_note(Calibration& calibration) {
  std::map<std::string, SurfaceEcho> echoes;
  for (const SpeakerResult& speaker : calibration.speakers) {
    for (const ReflectionResult& reflection : speaker.measured.room.reflections) {
      if (reflection.delay_ms > early_ms || reflection.level_db <= strong_reflection_db) continue;
      SurfaceEcho& echo = echoes[reflection.surface];
      if (echo.speakers.empty() || echo.speakers.back() != speaker.label) echo.speakers.push_back(speaker.label);
      echo.strongest_db = std::max(echo.strongest_db, reflection.level_db);
      echo.nearest_m = std::min(echo.nearest_m, reflection.path_m);
      echo.farthest_m = std::max(echo.farthest_m, reflection.path_m);
    }
  }
  if (echoes.empty()) return;
  std::string worst;
  for (const auto& [surface, echo] : echoes) {
    if (surface.empty()) continue;
    if (worst.empty() || echo.strongest_db > echoes[worst].strongest_db) worst = surface;
  }
  const SurfaceEcho& echo = echoes[worst];
  const std::string reach = echo.farthest_m - echo.nearest_m < 0.15
                                ? fmt::format("{:.1f} m", echo.nearest_m)
                                : fmt::format("{:.1f} to {:.1f} m", echo.nearest_m, echo.farthest_m);
  std::string text = fmt::format(
      "{} throws the sound of {} back strongly: up to {:.0f} dB re the direct sound, on a way "
      "{} longer. ",
      worst.empty() ? "Something near" : "The " + worst, some(echo.speakers, 3), echo.strongest_db, reach);
  if (worst.empty()) {
    text +=
        "A desk, a screen or a wall can do that: lower or tilt the desk, or put an absorber where a mirror would "
        "show the speaker.";
  } else {
    text += fmt::format("What helps: {}.", remedy_for(worst));
  }
  std::vector<std::string> others;
  for (const auto& [surface, other] : echoes) {
    if (surface != worst && !surface.empty()) others.push_back("the " + surface);
  }
  if (!others.empty()) text += fmt::format(" Also {}, see room.txt.", list(others));
  note(calibration, "early-reflection", std::nullopt, text);
}

std::string along(const Resonance& resonance) {
  constexpr std::array<const char*, 3> ways{"front and back wall", "the side walls", "floor and ceiling"};
  std::vector<std::string> between;
  for (std::size_t axis = 0; axis < ways.size(); ++axis) {
    if (resonance.order[axis] > 0) between.emplace_back(ways[axis]);
  }
  if (!resonance.box_mode_hz || between.size() != 1) return "";
  return " (could be between " + between.front() + ")";
}

void add_resonance_note(Calibration& calibration) {
  std::vector<Resonance> high = calibration.room.resonances;
  std::erase_if(high, [](const Resonance& resonance) { return resonance.height_db < high_resonance_db; });
  std::ranges::stable_sort(high, std::ranges::greater{}, &Resonance::height_db);
  if (high.size() > 2) high.resize(2);
  if (high.empty()) return;
  std::vector<std::string> peaks;
  for (const Resonance& resonance : high) {
    peaks.push_back(fmt::format("{:.0f} Hz{}", resonance.frequency_hz, along(resonance)));
  }
  const bool has_sub = std::ranges::any_of(
      calibration.speakers, [](const SpeakerResult& speaker) { return speaker.kind == SpeakerKind::sub; });
  note(
      calibration, "room-resonance", std::nullopt,
      fmt::format("The room booms at {}, with nearly every speaker. Move {} by half a metre along the room and measure "
                  "again; what stays can be cut by an equaliser, what is missing beside it cannot be filled.",
                  list(peaks), has_sub ? "the chair or the sub" : "the chair"));
}

/// True when an order is over its limit in an octave of neighbouring bands.
bool driven_too_hard(const std::vector<HarmonicReading>& harmonics, std::size_t order, double& worst_db) {
  std::size_t row = 0;
  bool found = false;
  double peak_db = -200.0;
  for (const HarmonicReading& reading : harmonics) {
    const double limit_db = reading.frequency_hz < bass_ends_hz ? bass_limit_db : treble_limit_db;
    const bool over = reading.level_db[order] && *reading.level_db[order] > limit_db;
    row = over ? row + 1 : 0;
    peak_db = over ? std::max(row > 1 ? peak_db : -200.0, *reading.level_db[order]) : -200.0;
    if (row < bands_in_a_row) continue;
    found = true;
    worst_db = std::max(worst_db, peak_db);
  }
  return found;
}

void add_distortion_note(Calibration& calibration) {
  std::vector<std::string> labels;
  double worst_db = -200.0;
  for (const SpeakerResult& speaker : calibration.speakers) {
    const auto& harmonics = speaker.measured.room.harmonics;
    const bool second = driven_too_hard(harmonics, 0, worst_db);
    const bool third = driven_too_hard(harmonics, 1, worst_db);
    if (second || third) labels.push_back(speaker.label);
  }
  if (labels.empty()) return;
  note(calibration, "distortion", labels.size() == 1 ? std::optional{labels.front()} : std::nullopt,
       fmt::format(
           "{} distort{}: up to about {:.0f} % of harmonics at the level of this measurement. Turn the level down "
           "and measure again; if it stays, {} driven too hard or damaged{}.",
           some(labels, 4), labels.size() == 1 ? "s" : "", 100.0 * std::pow(10.0, worst_db / 20.0),
           labels.size() == 1 ? "the speaker or its amplifier is" : "speakers or amplifiers are",
           labels.size() > 2 ? ", or the microphone's input is" : ""));
}

void add_noise_note(Calibration& calibration) {
  const auto& rating = calibration.room.noise_rating;
  if (!rating || rating->rating <= loud_noise_rating) return;
  note(
      calibration, "background-noise", std::nullopt,
      fmt::format("The background noise reaches NR {:.0f}, in the octave at {:g} Hz; control rooms aim at 15. Look for "
                  "what hums or blows there: fans, a computer, ventilation, traffic.",
                  rating->rating, rating->band_hz));
}

}  // namespace

void add_room_notes(Calibration& calibration) {
  add_decay_note(calibration);
  add_slopes_note(calibration);
  add_reflection_note(calibration);
  add_resonance_note(calibration);
  add_distortion_note(calibration);
  add_noise_note(calibration);
}

}  // namespace ringtrue
