#include "ringtrue/report/sheet.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "bass_section.hpp"
#include "distance_table.hpp"
#include "equaliser_sheet.hpp"
#include "findings_text.hpp"
#include "in_output_order.hpp"
#include "ringtrue/report/text_layout.hpp"
#include "settings_rows.hpp"

namespace ringtrue {
namespace {

using text::columns;
using text::padded;
using text::printable;
using text::wrapped;

constexpr std::size_t widest_label = 14;  // what the other columns leave of the page

struct Columns {
  std::size_t label = 7;  // "Speaker"
  int delay_decimals = 0;
  int trim_decimals = 0;
};

Columns fit_columns(const Calibration& calibration) {
  Columns fitted;
  std::vector<double> delays{calibration.rig.interface.delay_step_ms};
  std::vector<double> trims{calibration.rig.interface.trim_step_db};
  for (const auto& speaker : calibration.speakers) {
    fitted.label = std::clamp(columns(printable(speaker.label)), fitted.label, widest_label);
    if (speaker.settings.delay_ms) delays.push_back(*speaker.settings.delay_ms);
    if (speaker.settings.trim_db) trims.push_back(*speaker.settings.trim_db);
  }
  fitted.delay_decimals = decimals_needed(delays);
  fitted.trim_decimals = decimals_needed(trims);
  return fitted;
}

/// A sub that was aligned with the mains has the polarity of the best sum, whatever it measured.
bool doubtful_polarity(const Calibration& calibration, const SpeakerResult& speaker) {
  return !set_by_sum(calibration, speaker) && has_settings(speaker) && speaker.measured.polarity == Polarity::unsure;
}

/// The value with these decimals, never "-0.0"; in powers of ten where that would burst the column.
std::string fixed(double value, int decimals, std::size_t width) {
  const double scale = std::pow(10.0, decimals);
  const std::string text = fmt::format("{:.{}f}", std::round(value * scale) / scale + 0.0, decimals);
  return text.size() <= width ? text : fmt::format("{:.0e}", value);
}

std::string what_to_type(const Calibration& calibration, const SpeakerResult& speaker, const Columns& fitted) {
  if (!has_settings(speaker)) return "-- leave as it is, see below";
  return fmt::format("{:>9}  {:>7}  {}{}", fixed(*speaker.settings.delay_ms, fitted.delay_decimals, 9),
                     fixed(*speaker.settings.trim_db, fitted.trim_decimals, 7),
                     speaker.settings.invert ? "INVERT" : "normal", doubtful_polarity(calibration, speaker) ? "?" : "");
}

std::string how_sure(const std::optional<double>& uncertainty, int decimals, std::size_t width) {
  if (!uncertainty) return "-";
  const double finest_shown = std::pow(10.0, -decimals);
  return *uncertainty < finest_shown ? fmt::format("<{:.{}f}", finest_shown, decimals)
                                     : fixed(*uncertainty, decimals, width);
}

std::string row(const Calibration& calibration, const SpeakerResult& speaker, const Columns& fitted) {
  const auto& positions = speaker.measured.positions;
  const PositionResult listening = positions.empty() ? PositionResult{} : positions.front();
  return fmt::format("{:>4}  {}  {:<28}  {:<10}  {:>7}  {:>6}\n", speaker.output,
                     padded(printable(speaker.label), fitted.label), what_to_type(calibration, speaker, fitted),
                     name(speaker.status), how_sure(listening.arrival_uncertainty_ms, 4, 7),
                     how_sure(listening.level_uncertainty_db, 3, 6));
}

std::string table(const Calibration& calibration) {
  const Columns fitted = fit_columns(calibration);
  std::string text =
      fmt::format("{:>4}  {}  {:>9}  {:>7}  {:<8}  {:<10}  {:>7}  {:>6}\n", "Out", padded("Speaker", fitted.label),
                  "Delay ms", "Trim dB", "Polarity", "Result", "+/- ms", "+/- dB");
  text += std::string(text.size() - 1, '-') + '\n';
  for (const auto* speaker : in_output_order(calibration)) text += row(calibration, *speaker, fitted);
  text += wrapped("+/- is one standard deviation of the measurement at the listening position.");
  const auto doubtful = [&](const SpeakerResult& speaker) { return doubtful_polarity(calibration, speaker); };
  if (!std::ranges::any_of(calibration.speakers, doubtful)) return text;
  return text + wrapped("? after a polarity: it could not be judged, so it is left as it is.");
}

std::string title(const Rig& rig) {
  if (rig.name.empty()) return wrapped(printable(rig.layout));
  return wrapped(printable(fmt::format("{} ({})", rig.name, rig.layout)));
}

std::string verdict(const Calibration& calibration) {
  std::string without;
  for (const auto* speaker : in_output_order(calibration)) {
    if (!has_settings(*speaker)) without += (without.empty() ? "" : ", ") + printable(speaker->label);
  }
  if (!without.empty()) return wrapped("Not finished: no settings for " + without + ". Read the reasons below first.");
  if (needs_attention(calibration.findings))
    return wrapped("Every speaker has settings, but read the points below before you type them in.");
  return wrapped("Every speaker was measured and nothing wrong was found: type these values in.");
}

}  // namespace

std::string format_sheet(const Calibration& calibration) {
  return title(calibration.rig) + verdict(calibration) + '\n' + table(calibration) +
         format_equalisers(calibration, in_output_order(calibration), fit_columns(calibration).label) +
         bass_section(calibration) +
         findings_text(calibration.findings, {"Put right first", "Look at this", "Good to know"}) +
         distance_table(calibration, fit_columns(calibration).label);
}

}  // namespace ringtrue
