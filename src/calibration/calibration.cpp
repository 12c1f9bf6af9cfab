#include "ringtrue/calibration/calibration.hpp"

#include <algorithm>

namespace ringtrue {

const char* name(Status status) {
  switch (status) {
    case Status::ok: return "ok";
    case Status::silent: return "silent";
    case Status::unreliable: return "unreliable";
  }
  return "unreliable";
}

const char* name(Polarity polarity) {
  switch (polarity) {
    case Polarity::normal: return "normal";
    case Polarity::inverted: return "inverted";
    case Polarity::unsure: return "unsure";
  }
  return "unsure";
}

const char* name(TimeReference reference) {
  return reference == TimeReference::loopback ? "loopback" : "earliest arrival";
}

bool has_settings(const SpeakerResult& speaker) {
  return speaker.status == Status::ok && speaker.settings.delay_ms && speaker.settings.trim_db;
}

std::string labels_in_words(const std::vector<BassAlignmentResult::Sub>& subs) {
  std::string labels;
  for (const auto& sub : subs) labels += (labels.empty() ? "" : " and ") + sub.label;
  return labels;
}

bool set_by_sum(const Calibration& calibration, const SpeakerResult& speaker) {
  const auto among = [&](const std::vector<BassAlignmentResult::Sub>& subs) {
    return std::ranges::find(subs, speaker.label, &BassAlignmentResult::Sub::label) != subs.end();
  };
  if (calibration.bass_alignment && among(calibration.bass_alignment->subs)) return true;
  return std::ranges::any_of(calibration.lfe_groups,
                             [&](const LfeGroupResult& group) { return group.subs.size() > 1 && among(group.subs); });
}

bool needs_attention(const Findings& findings) {
  return std::ranges::any_of(findings, [](const Finding& finding) { return finding.severity != Severity::note; });
}

}  // namespace ringtrue
