#include "ringtrue/report/verification_sheet.hpp"

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

std::size_t label_width(const Verification& verification) {
  std::size_t width = 7;  // "Speaker"
  for (const auto& speaker : verification.speakers) {
    width = std::clamp(columns(printable(speaker.label)), width, widest_label);
  }
  return width;
}

std::string cell(const std::optional<Judged>& judged, int decimals) {
  if (!judged) return "-";
  const double scale = std::pow(10.0, decimals);
  const double shown = std::round(judged->error * scale) / scale;
  return fmt::format("{:+.{}f}{}", shown == 0.0 ? 0.0 : shown, decimals, judged->passed() ? " " : "!");
}

std::string row(const SpeakerVerdict& speaker, std::size_t width) {
  const char* polarity = !speaker.polarity_right ? "-" : *speaker.polarity_right ? "right" : "WRONG!";
  const std::string verdict = speaker.verdict == Verdict::fail ? "FAIL" : name(speaker.verdict);
  return fmt::format("{:>4}  {}  {:>9}  {:>8}  {:<8}  {:>8}  {:>7}  {}\n", speaker.output,
                     padded(printable(speaker.label), width), cell(speaker.delay_ms, 3), cell(speaker.level_db, 2),
                     polarity, cell(speaker.response_db, 1), cell(speaker.bass_db, 1), verdict);
}

std::string table(const Verification& verification) {
  const std::size_t width = label_width(verification);
  std::string text = fmt::format("{:>4}  {}  {:>9}  {:>8}  {:<8}  {:>8}  {:>7}  {}\n", "Out", padded("Speaker", width),
                                 "Delay ms ", "Level dB", "Polarity", "Resp. dB", "Bass dB", "Verdict");
  text += std::string(std::min<std::size_t>(text.size() - 1 + 3, text::page_columns), '-') + '\n';
  std::vector<const SpeakerVerdict*> rows;
  for (const auto& speaker : verification.speakers) rows.push_back(&speaker);
  std::ranges::stable_sort(rows, {}, &SpeakerVerdict::output);
  for (const auto* speaker : rows) text += row(*speaker, width);
  const VerifyTolerances& allowed = verification.tolerances;
  return text + wrapped(fmt::format("Each number is measured minus wanted; ! marks what is out of tolerance. Allowed: "
                                    "delay +-{:g} ms, level +-{:g} dB, response +-{:g} dB in any third octave, bass "
                                    "with the sub +-{:g} dB; more where the measurement is less sure than that.",
                                    allowed.delay_ms, allowed.level_db, allowed.response_db, allowed.bass_db));
}

std::string verdict(const Verification& verification) {
  std::string failed;
  for (const auto& speaker : verification.speakers) {
    if (speaker.verdict == Verdict::fail) failed += (failed.empty() ? "" : ", ") + printable(speaker.label);
  }
  if (!failed.empty()) return wrapped("FAIL: not as the sheet says: " + failed + ".");
  if (!verification.passed) return wrapped("FAIL: read the points below.");
  return wrapped("PASS: every speaker measures as the sheet says.");
}

std::string title(const Rig& rig) {
  return wrapped(printable(rig.name.empty() ? rig.layout : fmt::format("{} ({})", rig.name, rig.layout)));
}

}  // namespace

std::string format_verification_sheet(const Verification& verification) {
  return title(verification.rig) + verdict(verification) + '\n' + table(verification) +
         findings_text(verification.findings, {"Put right first", "Put right", "Good to know"});
}

}  // namespace ringtrue
