#include "ringtrue/report/room_text.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <span>

#include "ringtrue/report/text_layout.hpp"

namespace ringtrue {
namespace {

using text::padded;
using text::printable;
using text::wrapped;

constexpr std::size_t room_label_columns = 10;
constexpr std::size_t bands_in_a_line = 10;
constexpr std::size_t reflections_shown = 4;

/// The name of a band: 63, 125, 250 ... (IEC 61260-1: nominal mid-bands).
std::string band_name(double centre_hz) {
  constexpr std::array nominal{10.0, 12.5, 16.0, 20.0, 25.0, 31.5, 40.0, 50.0, 63.0, 80.0};
  const double decade = std::pow(10.0, std::floor(std::log10(centre_hz * 1.02)) - 1.0);
  const auto nearest =
      std::ranges::min_element(nominal, {}, [&](double name) { return std::abs(std::log(name * decade / centre_hz)); });
  const double hz = *nearest * decade;
  return hz < 1'000.0 ? fmt::format("{:g}", hz) : fmt::format("{:g}k", 1e-3 * hz);
}

std::string cell(const std::optional<double>& value, int decimals) {
  return value ? fmt::format("{:>6.{}f}", *value, decimals) : fmt::format("{:>6}", "-");
}

template <class Value>
std::string line(std::string_view name, std::span<const DecayBand> bands, int decimals, const Value& value) {
  std::string text = padded(name, room_label_columns);
  for (const DecayBand& band : bands) text += cell(value(band), decimals);
  return text + '\n';
}

std::string heading(std::span<const DecayBand> bands) {
  std::string text = padded("Hz", room_label_columns);
  for (const DecayBand& band : bands) text += fmt::format("{:>6}", band_name(band.centre_hz));
  return text + '\n';
}

std::string decay(const RoomResult& room) {
  const auto has = [&](auto field) {
    return std::ranges::any_of(room.octaves, [&](const DecayBand& band) { return (band.*field).has_value(); });
  };
  if (!has(&DecayBand::reverberation_s)) {
    return wrapped("Decay: no answer; the noise is too high, or the responses end too early.");
  }
  std::string text =
      "Decay: seconds to fall by 60 dB, mean of all speakers and mic positions\n" + heading(room.octaves);
  text += line("T", room.octaves, 2, [](const DecayBand& band) { return band.reverberation_s; });
  text += line("  +/-", room.octaves, 2, [](const DecayBand& band) -> std::optional<double> {
    if (!band.uncertainty_s) return {};
    return std::max(0.01, *band.uncertainty_s);  // never "0.00": no decay is known that well
  });
  text += line("early", room.octaves, 2, [](const DecayBand& band) { return band.early_s; });
  text += line("bent %", room.octaves, 0, [](const DecayBand& band) { return band.curvature_percent; });
  text += line("C50 dB", room.octaves, 1, [](const DecayBand& band) { return band.clarity_50_db; });
  text += line("C80 dB", room.octaves, 1, [](const DecayBand& band) { return band.clarity_80_db; });
  text += "\nThe same in third octaves\n";
  const std::span<const DecayBand> thirds{room.third_octaves};
  for (std::size_t from = 0; from < thirds.size(); from += bands_in_a_line) {
    const auto part = thirds.subspan(from, std::min(bands_in_a_line, thirds.size() - from));
    text += heading(part) + line("T", part, 2, [](const DecayBand& band) { return band.reverberation_s; });
  }
  text += wrapped(
      "T is T30, or T20 where noise allows no more (ISO 3382). early: of the first 10 dB. bent: how much "
      "slower the late part falls; far above 10 the sound dies away in two steps. C50, C80: what comes in "
      "the first 50 or 80 ms over all later. -: no answer.");
  if (room.schroeder_hz) {
    text += wrapped(fmt::format("Below about {:.0f} Hz single resonances rule, and a decay time depends on the place.",
                                10.0 * std::round(0.1 * *room.schroeder_hz)));
  }
  return text;
}

std::string reflections_of(const SpeakerResult& speaker) {
  auto shown = speaker.measured.room.reflections;
  std::ranges::stable_sort(shown, std::ranges::greater{}, &ReflectionResult::level_db);
  if (shown.size() > reflections_shown) shown.resize(reflections_shown);
  std::ranges::sort(shown, {}, &ReflectionResult::delay_ms);
  std::string text;
  for (const ReflectionResult& reflection : shown) {
    text += fmt::format("  {}{:>6.1f} ms {:>6.2f} m {:>6.0f} dB  {}\n",
                        padded(text.empty() ? printable(speaker.label) : "", room_label_columns), reflection.delay_ms,
                        reflection.path_m, reflection.level_db, reflection.surface.empty() ? "-" : reflection.surface);
  }
  return text;
}

std::string reflections(const Calibration& calibration) {
  std::string text;
  for (const SpeakerResult& speaker : calibration.speakers) text += reflections_of(speaker);
  if (text.empty()) return "Early reflections: none above -20 dB, or none could be told apart\n";
  text = "Early reflections, 1-8 kHz, the strongest: delay, longer way, level re direct\n" + text;
  text += wrapped(
      "The surface is the one whose mirror image of the speaker fits, in a room of the rig's size; -: none "
      "does, look for a desk, a screen, furniture or a second bounce.");
  const EarPlace& ear = calibration.room.ear;
  if (ear.from_left_m && ear.from_front_m) {
    text +=
        wrapped(fmt::format("By that the ear point stands about {:.1f} m from the left and {:.1f} m from the front "
                            "wall.",
                            *ear.from_left_m, *ear.from_front_m));
  }
  return text;
}

std::string resonances(const RoomResult& room) {
  if (room.resonances.empty()) return "Resonances below 200 Hz: none that the speakers share\n";
  std::string text = "Resonances below 200 Hz that the speakers share\n";
  for (const Resonance& resonance : room.resonances) {
    text += fmt::format("  {:>6.0f} Hz {:>+5.0f} dB", resonance.frequency_hz, resonance.height_db);
    if (resonance.box_mode_hz) {
      text += fmt::format("   box: {:.0f} Hz, {}-{}-{} (length-width-height)", *resonance.box_mode_hz,
                          resonance.order[0], resonance.order[1], resonance.order[2]);
    }
    text += '\n';
  }
  return text;
}

std::string noise(const RoomResult& room) {
  if (room.noise.empty()) return "Background noise: the recording has too little silence to say\n";
  std::string names = padded("Hz", room_label_columns);
  std::string levels = padded("dBFS", room_label_columns);
  for (const NoiseReading& reading : room.noise) {
    names += fmt::format("{:>6}", band_name(reading.centre_hz));
    levels += fmt::format("{:>6.0f}", reading.level_dbfs);
  }
  const std::string rating = room.noise_rating
                                 ? fmt::format("NR {:.0f}, set by the octave at {:g} Hz (ISO/R 1996).",
                                               std::ceil(room.noise_rating->rating), room.noise_rating->band_hz)
                                 : "No noise rating (NR): the microphone's level is not calibrated.";
  return "Background noise in octaves at the listening position\n" + names + '\n' + levels + '\n' + wrapped(rating);
}

/// Power mean over the readings in a range that have an answer, in percent.
std::optional<double> percent(const std::vector<HarmonicReading>& readings, std::size_t order, double low_hz,
                              double high_hz) {
  double sum = 0.0;
  int count = 0;
  for (const HarmonicReading& reading : readings) {
    if (reading.frequency_hz < low_hz || reading.frequency_hz >= high_hz || !reading.level_db[order]) continue;
    sum += std::pow(10.0, 0.1 * *reading.level_db[order]);
    ++count;
  }
  return count > 0 ? std::optional{100.0 * std::sqrt(sum / count)} : std::nullopt;
}

std::string distortion(const Calibration& calibration) {
  std::string rows;
  for (const SpeakerResult& speaker : calibration.speakers) {
    const auto& readings = speaker.measured.room.harmonics;
    if (readings.empty()) continue;
    rows += "  " + padded(printable(speaker.label), room_label_columns);
    for (const auto& [low, high] : {std::pair{0.0, 240.0}, {240.0, 1'900.0}, {1'900.0, 20'000.0}}) {
      for (const std::size_t order : {0U, 1U}) {
        const auto share = percent(readings, order, low, high);
        rows += share ? fmt::format("{:>7.{}f}", *share, *share < 9.95 ? 2 : 0) : fmt::format("{:>7}", "-");
      }
      rows += "   ";
    }
    while (rows.ends_with(' ')) rows.pop_back();
    rows += '\n';
  }
  if (rows.empty()) return "Distortion: the sweeps do not show it\n";
  return fmt::format(
             "Second and third harmonic in percent, at the level of this measurement\n  {}{:>14}   {:>14}   "
             "{:>14}\n",
             padded("", room_label_columns), "below 250 Hz", "250 Hz-2 kHz", "above 2 kHz") +
         rows +
         wrapped(
             "At the microphone, by the fundamental's frequency. -: beyond the sweep, or below the noise. Under 0.1 "
             "is as good as none.");
}

}  // namespace

std::string format_room(const Calibration& calibration) {
  const std::string name = calibration.rig.name.empty() ? calibration.rig.layout : calibration.rig.name;
  return wrapped(printable(name) + ": what an equaliser cannot mend") + '\n' + decay(calibration.room) + '\n' +
         reflections(calibration) + '\n' + resonances(calibration.room) + '\n' + noise(calibration.room) + '\n' +
         distortion(calibration);
}

}  // namespace ringtrue
