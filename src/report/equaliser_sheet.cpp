#include "equaliser_sheet.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "ringtrue/correction/tolerance.hpp"
#include "ringtrue/report/text_layout.hpp"

namespace ringtrue {
namespace {

using text::padded;
using text::printable;
using text::wrapped;

/// The shortest decimal that shows the value to at most `decimals` places; in powers of ten where it is too wide.
std::string plain(double value, int decimals, std::size_t width) {
  std::string text = fmt::format("{:.{}f}", value, decimals);
  if (text.find('.') != std::string::npos) text.erase(text.find_last_not_of('0') + 1);
  if (text.ends_with('.')) text.pop_back();
  if (text == "-0") text = "0";
  return text.size() <= width ? text : fmt::format("{:.0e}", value);
}

std::string signed_gain(double gain_db) {
  const std::string text = fmt::format("{:+.2f}", gain_db);
  if (text.size() > 8) return fmt::format("{:+.0e}", gain_db);
  return text.ends_with('0') ? text.substr(0, text.size() - 1) : text;
}

std::string filter_line(const std::string& head, std::size_t number, const Filter& filter) {
  return fmt::format("{}  {:>2}  {:<10}  {:>8}  {:>8}  {:>6}\n", head, number, in_words(filter.shape),
                     plain(filter.frequency_hz, 2, 8), signed_gain(filter.gain_db), plain(filter.q, 2, 6));
}

std::string head_of(const SpeakerResult& speaker, std::size_t label_columns) {
  return fmt::format("{:>4}  {}", speaker.output, padded(printable(speaker.label), label_columns));
}

std::string filters_of(const SpeakerResult& speaker, std::size_t label_columns) {
  std::string text;
  for (const Filter& filter : speaker.settings.equaliser) {
    const std::string head = text.empty() ? head_of(speaker, label_columns) : std::string(6 + label_columns, ' ');
    text += filter_line(head, 1 + static_cast<std::size_t>(&filter - speaker.settings.equaliser.data()), filter);
  }
  return text;
}

/// "5 -> 1": third octaves outside the listening rooms' tolerance at the listening position.
std::string outside(const Calibration& calibration, const SpeakerCorrection& correction) {
  if (correction.before_db.empty() || correction.after_db.empty()) return "-";
  const auto count = [&](const std::vector<double>& level_db) {
    return outside_tolerance(calibration.correction->third_octave_hz, level_db, correction.band_hz);
  };
  return fmt::format("{} -> {}", count(correction.before_db.front()), count(correction.after_db.front()));
}

std::string expectation(const Calibration& calibration, const SpeakerResult& speaker, std::size_t label_columns) {
  const SpeakerCorrection& correction = *speaker.correction;
  return fmt::format("{}  {:>6}  {:>6}  {:>7}  {:>8}  {:>8}\n", head_of(speaker, label_columns),
                     plain(correction.deviation_before_db, 1, 6), plain(correction.deviation_after_db, 1, 6),
                     plain(correction.largest_boost_db, 1, 7), plain(correction.level_change_db, 1, 8),
                     speaker.kind == SpeakerKind::sub ? "-" : outside(calibration, correction));
}

std::string transition_in_words(const CorrectionResult& correction) {
  const std::string from = correction.transition_from == "room"     ? "from the room's size and decay time"
                           : correction.transition_from == "option" ? "as asked for"
                                                                    : "a usual value: the rig has no room size";
  return fmt::format(
      "Below {:.0f} Hz ({}) each speaker has filters of its own; above, left-right pairs share broad "
      "ones. Target: {}.",
      correction.transition_hz, from, printable(correction.target));
}

std::string expectations(const Calibration& calibration, const std::vector<const SpeakerResult*>& rows,
                         std::size_t label_columns) {
  std::string text;
  for (const auto* speaker : rows) {
    if (speaker->correction) text += expectation(calibration, *speaker, label_columns);
  }
  if (text.empty()) return text;
  std::string load;
  if (const int taps = calibration.correction->fir_taps; taps > 0) {
    load =
        wrapped(fmt::format("Corrections are impulse responses of {} taps: load the files in the folder fir/ into "
                            "their outputs, all of them, and leave the interface's own filters off.",
                            taps));
  }
  return "\nExpected\n" + load +
         fmt::format("{:>4}  {}  {:>6}  {:>6}  {:>7}  {:>8}  {:>8}\n", "Out", padded("Speaker", label_columns),
                     "Before", "After", "Boost", "Level", "Outside") +
         text +
         wrapped(
             "Before, After: standard deviation from the target in third octaves, average of the mic positions, "
             "dB. Boost: the most all filters add at any frequency, dB. Level: what they change the loudness by; "
             "the trim makes up for it. Outside: third octaves beyond the tolerance of listening rooms (+/-3 dB, "
             "wider in the treble; a guide, its limits are from memory), before and after.") +
         wrapped(transition_in_words(*calibration.correction));
}

}  // namespace

std::string format_equalisers(const Calibration& calibration, const std::vector<const SpeakerResult*>& rows,
                              std::size_t label_columns) {
  std::string text;
  for (const auto* speaker : rows) text += filters_of(*speaker, label_columns);
  if (!text.empty()) {
    text = "\nEqualiser\n" +
           fmt::format("{:>4}  {}  {:>2}  {:<10}  {:>8}  {:>8}  {:>6}\n", "Out", padded("Speaker", label_columns), "No",
                       "Shape", "Hz", "Gain dB", "Q") +
           text;
  }
  return calibration.correction ? text + expectations(calibration, rows, label_columns) : text;
}

}  // namespace ringtrue
