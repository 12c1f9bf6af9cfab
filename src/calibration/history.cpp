#include "ringtrue/calibration/history.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "decimals.hpp"

namespace ringtrue {
namespace {

std::string shown(const std::optional<double>& value, int decimals) {
  if (!value) return "none";
  const double scale = std::pow(10.0, decimals);
  return fmt::format("{:.{}f}", std::round(*value * scale) / scale + 0.0, decimals);
}

std::string settings_words(const Settings& before, const Settings& after, const Interface& interface) {
  std::string words;
  const auto add = [&](const std::string& part) { words += (words.empty() ? "" : ", ") + part; };
  const auto add_value = [&](const char* what, const auto& then, const auto& now, int decimals, const char* unit) {
    if (then != now) add(fmt::format("{} {} -> {} {}", what, shown(then, decimals), shown(now, decimals), unit));
  };
  add_value("delay", before.delay_ms, after.delay_ms, decimals_of_step(interface.delay_step_ms), "ms");
  add_value("trim", before.trim_db, after.trim_db, decimals_of_step(interface.trim_step_db), "dB");
  if (before.invert != after.invert) add(after.invert ? "now inverted" : "no longer inverted");
  if (before.equaliser != after.equaliser) {
    add(before.equaliser.size() == after.equaliser.size()
            ? std::string{"other filters"}
            : fmt::format("{} -> {} filters", before.equaliser.size(), after.equaliser.size()));
  }
  return words;
}

const SpeakerResult* find(const Calibration& calibration, const std::string& label) {
  const auto found = std::ranges::find(calibration.speakers, label, &SpeakerResult::label);
  return found == calibration.speakers.end() ? nullptr : &*found;
}

}  // namespace

std::vector<HistoryChange> changes_between(const Calibration& before, const Calibration& after) {
  std::vector<HistoryChange> changes;
  for (const SpeakerResult& now : after.speakers) {
    const SpeakerResult* const then = find(before, now.label);
    if (then == nullptr) {
      changes.push_back({now.label, "new"});
      continue;
    }
    std::string words = settings_words(then->settings, now.settings, after.rig.interface);
    if (then->output != now.output) {
      words = fmt::format("output {} -> {}{}", then->output, now.output, words.empty() ? "" : ", ") + words;
    }
    if (then->status != now.status) {
      words = fmt::format("{} -> {}{}", name(then->status), name(now.status), words.empty() ? "" : ", ") + words;
    }
    if (!words.empty()) changes.push_back({now.label, words});
  }
  for (const SpeakerResult& then : before.speakers) {
    if (find(after, then.label) == nullptr) changes.push_back({then.label, "gone"});
  }
  return changes;
}

const char* verdict_of(const Calibration& calibration) {
  const bool unfinished = std::ranges::any_of(calibration.speakers, [](const SpeakerResult& speaker) {
    return !speaker.settings.delay_ms || !speaker.settings.trim_db;
  });
  if (unfinished) return "not finished";
  return needs_attention(calibration.findings) ? "look at it" : "good";
}

}  // namespace ringtrue
