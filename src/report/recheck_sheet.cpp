#include "ringtrue/report/recheck_sheet.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "findings_text.hpp"
#include "ringtrue/report/text_layout.hpp"

namespace ringtrue {
namespace {

using text::columns;
using text::padded;
using text::printable;
using text::wrapped;

constexpr std::size_t widest_label = 14;

std::vector<const RecheckedSpeaker*> in_output_order(const Recheck& recheck) {
  std::vector<const RecheckedSpeaker*> rows;
  for (const auto& speaker : recheck.speakers) rows.push_back(&speaker);
  std::ranges::stable_sort(rows, {}, &RecheckedSpeaker::output);
  return rows;
}

std::size_t label_width(const Recheck& recheck) {
  std::size_t width = 7;  // "Speaker"
  for (const auto& speaker : recheck.speakers) {
    width = std::clamp(columns(printable(speaker.label)), width, widest_label);
  }
  return width;
}

std::string fixed(double value, int decimals) {
  const double scale = std::pow(10.0, decimals);
  return fmt::format("{:.{}f}", std::round(value * scale) / scale + 0.0, decimals);
}

std::string setting(const std::optional<double>& value, int decimals) { return value ? fixed(*value, decimals) : "--"; }

std::string then_and_now(const std::optional<double>& before, const std::optional<double>& after, int decimals) {
  const std::string old = setting(before, decimals);
  return before == after ? fmt::format("{:>6}", old) : fmt::format("{:>6} -> {:>6}", old, setting(after, decimals));
}

std::string polarity(const RecheckedSpeaker& speaker) {
  const auto word = [](bool invert) { return invert ? "INVERT" : "normal"; };
  if (speaker.before.invert == speaker.after.invert) return word(speaker.after.invert);
  return fmt::format("{} -> {}", word(speaker.before.invert), word(speaker.after.invert));
}

std::string measured_change(const RecheckedSpeaker& speaker) {
  if (!speaker.measured || !speaker.later_ms) return speaker.drifted ? "silent" : "-";
  return fmt::format("{:+.3f}", std::round(*speaker.later_ms * 1e3) / 1e3 + 0.0);  // never -0.000
}

std::string row(const RecheckedSpeaker& speaker, std::size_t width) {
  const bool changed = speaker.before != speaker.after;
  const char* mark = changed ? "NEW" : speaker.drifted ? "!" : "";
  std::string line =
      fmt::format("{:>4}  {}  {:>8}  {:<16}  {:<16}  {:<8} {}", speaker.output, padded(printable(speaker.label), width),
                  measured_change(speaker), then_and_now(speaker.before.delay_ms, speaker.after.delay_ms, 2),
                  then_and_now(speaker.before.trim_db, speaker.after.trim_db, 1), polarity(speaker), mark);
  line.erase(line.find_last_not_of(' ') + 1);
  return line + '\n';
}

std::string table(const Recheck& recheck) {
  const std::size_t width = label_width(recheck);
  std::string all = fmt::format("{:>4}  {}  {:>8}  {:<16}  {:<16}  {}\n", "Out", padded("Speaker", width), "Later ms",
                                "Delay ms", "Trim dB", "Polarity");
  all += std::string(std::min<std::size_t>(all.size() + 3, text::page_columns), '-') + '\n';
  for (const auto* speaker : in_output_order(recheck)) all += row(*speaker, width);
  return all +
         wrapped("Later: how much later it arrives than it did, against the speakers that stayed; - not measured.");
}

std::string verdict(const Recheck& recheck) {
  std::string fresh;
  std::string drifted;
  bool any_named = false;
  for (const auto* speaker : in_output_order(recheck)) {
    any_named = any_named || speaker->named;
    if (speaker->before != speaker->after) fresh += (fresh.empty() ? "" : ", ") + printable(speaker->label);
    if (speaker->drifted) drifted += (drifted.empty() ? "" : ", ") + printable(speaker->label);
  }
  std::string words;
  if (!fresh.empty()) words += wrapped("Type in again: " + fresh + ". Everything else stays.");
  if (any_named && fresh.empty()) words += wrapped("Nothing has to be typed in again.");
  if (!drifted.empty()) words += wrapped("Not as it was: " + drifted + ".");
  if (!any_named && drifted.empty()) words += wrapped("Everything that was played is as it was.");
  return words;
}

}  // namespace

std::string format_recheck_sheet(const Recheck& recheck) {
  const Rig& rig = recheck.calibration.rig;
  const std::string title = rig.name.empty() ? rig.layout : fmt::format("{} ({})", rig.name, rig.layout);
  return wrapped(printable(title)) + verdict(recheck) + '\n' + table(recheck) +
         findings_text(recheck.findings, {"Put right first", "Look at this", "Good to know"});
}

}  // namespace ringtrue
