#include "bass_section.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <optional>

#include "lfe_words.hpp"
#include "ringtrue/report/text_layout.hpp"

namespace ringtrue {
namespace {

constexpr std::size_t widest_label = 10;

bool known(const SpeakerResult& speaker) {
  return speaker.measured.band_ends != BandEnds{} || !speaker.measured.low_octaves.empty();
}

std::string hz(const std::optional<double>& value) { return value ? fmt::format("{:.0f}", *value) : "-"; }

/// "24 at 31 Hz": the octave in which a sub stands least over the noise.
std::string poorest(const SpeakerResult& speaker) {
  const auto& octaves = speaker.measured.low_octaves;
  const auto worst = std::ranges::min_element(octaves, {}, &LowOctave::signal_to_noise_db);
  if (worst == octaves.end()) return "";
  return fmt::format("{:.0f} at {:.0f} Hz", worst->signal_to_noise_db, worst->centre_hz);
}

std::string crossover(const Calibration& calibration, std::size_t speaker) {
  const auto& bass = calibration.rig.bass_management;
  if (mains_full_range(calibration.rig) || calibration.speakers[speaker].kind == SpeakerKind::sub) return "";
  return fmt::format("{:g}", calibration.rig.speakers[speaker].crossover_hz.value_or(bass->crossover_hz));
}

std::string row(const Calibration& calibration, std::size_t s) {
  const SpeakerResult& speaker = calibration.speakers[s];
  const BandEnds& ends = speaker.measured.band_ends;
  const std::string line = fmt::format("{:>4}  {}  {:>7}  {:>6}  {:>7}  {:>8}  {:>9}  {}", speaker.output,
                                       text::padded(text::printable(speaker.label), widest_label),
                                       hz(ends.low_10_db_hz), hz(ends.low_3_db_hz), hz(ends.high_3_db_hz),
                                       hz(ends.high_10_db_hz), crossover(calibration, s), poorest(speaker));
  return line.substr(0, line.find_last_not_of(' ') + 1) + '\n';
}

std::string lfe_words(const Calibration& calibration) {
  const std::string alone = lfe_only_words(calibration);
  std::string words = alone.empty() ? "" : text::wrapped(text::printable(alone));
  if (!calibration.lfe_peak_dbfs) return words;
  return words + text::wrapped(fmt::format(
                     "LFE at full scale, raised by {:g} dB, needs {:+.1f} dB full scale at the sub's output.",
                     calibration.rig.bass_management->lfe_gain_db, *calibration.lfe_peak_dbfs));
}

}  // namespace

std::string bass_section(const Calibration& calibration) {
  if (!std::ranges::any_of(calibration.speakers, known) ||
      calibration.speakers.size() != calibration.rig.speakers.size())
    return "";
  std::string rows;
  for (const std::size_t s : by_output(calibration.rig)) {
    if (known(calibration.speakers[s])) rows += row(calibration, s);
  }
  const std::string head =
      fmt::format("{:>4}  {}  {:>7}  {:>6}  {:>7}  {:>8}  {:>9}  {}\n", "Out", text::padded("Speaker", widest_label),
                  "low -10", "low -3", "high -3", "high -10", "Crossover", "Least S/N");
  return "\nLow end in the room\n" + head + std::string(head.size() - 1, '-') + '\n' + rows +
         text::wrapped(
             "Hz at which the level has fallen by 10 or 3 dB; -: not within what was measured. S/N: dB over "
             "what differs between two sweeps, in the worst octave.") +
         lfe_words(calibration);
}

}  // namespace ringtrue
