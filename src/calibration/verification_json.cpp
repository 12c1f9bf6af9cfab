#include "json_numbers.hpp"
#include "ringtrue/calibration/verification.hpp"

namespace ringtrue {
namespace {

using json::number;
using json::Object;

Object format_judged(const std::optional<Judged>& judged, int decimals) {
  if (!judged) return nullptr;
  return {{"error", number(judged->error, decimals)},
          {"uncertainty", number(judged->uncertainty, decimals + 1)},
          {"limit", number(judged->limit, decimals)},
          {"passed", judged->passed()}};
}

Object format_suspicion(const Suspicion& suspicion) {
  return {{"value", suspicion.value},
          {"wanted", number(suspicion.wanted, 4)},
          {"found", number(suspicion.found, 4)},
          {"typed", suspicion.typed ? number(*suspicion.typed, 4) : Object{}},
          {"how", suspicion.how.empty() ? Object{} : Object(suspicion.how)}};
}

Object format_speaker(const SpeakerVerdict& verdict) {
  Object suspicions = Object::array();
  for (const auto& suspicion : verdict.suspicions) suspicions.push_back(format_suspicion(suspicion));
  return {{"label", verdict.label},
          {"output", verdict.output},
          {"kind", name(verdict.kind)},
          {"verdict", name(verdict.verdict)},
          {"delay_ms", format_judged(verdict.delay_ms, 4)},
          {"level_db", format_judged(verdict.level_db, 3)},
          {"polarity_right", verdict.polarity_right ? Object(*verdict.polarity_right) : Object{}},
          {"response_db", format_judged(verdict.response_db, 3)},
          {"response_at_hz", verdict.response_db ? number(verdict.response_at_hz, 1) : Object{}},
          {"bass_db", format_judged(verdict.bass_db, 2)},
          {"suspicions", std::move(suspicions)}};
}

}  // namespace

std::string format_verification(const Verification& verification) {
  Object speakers = Object::array();
  for (const auto& speaker : verification.speakers) speakers.push_back(format_speaker(speaker));
  Object findings = Object::array();
  for (const auto& finding : verification.findings) {
    findings.push_back({{"severity", name(finding.severity)},
                        {"code", finding.code},
                        {"speaker", finding.speaker ? Object(*finding.speaker) : Object{}},
                        {"message", finding.message}});
  }
  const VerifyTolerances& tolerances = verification.tolerances;
  const Object all{{"schema", "ringtrue.verification/1"},
                   {"name", verification.rig.name},
                   {"layout", verification.rig.layout},
                   {"passed", verification.passed},
                   {"tolerances",
                    {{"delay_ms", number(tolerances.delay_ms, 6)},
                     {"level_db", number(tolerances.level_db, 6)},
                     {"response_db", number(tolerances.response_db, 6)},
                     {"bass_db", number(tolerances.bass_db, 6)}}},
                   {"crossover_while_measured", name(verification.crossover)},
                   {"responses_compared", verification.responses_compared},
                   {"speakers", std::move(speakers)},
                   {"findings", std::move(findings)}};
  return all.dump(2, ' ', false, Object::error_handler_t::replace) + '\n';
}

}  // namespace ringtrue
