#include "json_numbers.hpp"
#include "ringtrue/calibration/recheck.hpp"

namespace ringtrue {
namespace {

using json::number;
using json::Object;

Object format_settings(const Settings& settings) {
  return {{"delay_ms", number(settings.delay_ms, 6)},
          {"trim_db", number(settings.trim_db, 6)},
          {"invert", settings.invert}};
}

Object format_speaker(const RecheckedSpeaker& speaker) {
  const auto& moved = speaker.moved_m;
  return {
      {"label", speaker.label},
      {"output", speaker.output},
      {"named", speaker.named},
      {"measured", speaker.measured},
      {"drifted", speaker.drifted},
      {"later_ms", number(speaker.later_ms, 4)},
      {"later_uncertainty_ms", number(speaker.uncertainty_ms, 5)},
      {"further_m", number(speaker.further_m, 4)},
      {"moved_m", moved ? Object::array({number(moved->x, 3), number(moved->y, 3), number(moved->z, 3)}) : Object{}},
      {"louder_db", number(speaker.louder_db, 3)},
      {"inverted", speaker.inverted},
      {"before", format_settings(speaker.before)},
      {"after", format_settings(speaker.after)},
      {"changed", speaker.before != speaker.after}};
}

}  // namespace

std::string format_recheck(const Recheck& recheck) {
  Object speakers = Object::array();
  for (const auto& speaker : recheck.speakers) speakers.push_back(format_speaker(speaker));
  Object findings = Object::array();
  for (const auto& finding : recheck.findings) {
    findings.push_back({{"severity", name(finding.severity)},
                        {"code", finding.code},
                        {"speaker", finding.speaker ? Object(*finding.speaker) : Object{}},
                        {"message", finding.message}});
  }
  const Object all{{"schema", "ringtrue.recheck/1"},           {"name", recheck.calibration.rig.name},
                   {"layout", recheck.calibration.rig.layout}, {"settings_active", recheck.settings_active},
                   {"speakers", std::move(speakers)},          {"findings", std::move(findings)}};
  return all.dump(2, ' ', false, Object::error_handler_t::replace) + '\n';
}

}  // namespace ringtrue
