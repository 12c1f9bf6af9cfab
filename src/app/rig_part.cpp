#include "rig_part.hpp"

#include <algorithm>

#include "ringtrue/core/errors.hpp"

namespace ringtrue::app {

Rig part_of(const Rig& rig, const std::vector<std::string>& labels, const char* option) {
  if (labels.empty()) return rig;
  for (const std::string& label : labels) {
    if (std::ranges::find(rig.speakers, label, &Speaker::label) != rig.speakers.end()) continue;
    std::string known;
    for (const Speaker& speaker : rig.speakers) known += (known.empty() ? "" : ", ") + speaker.label;
    throw InvalidInput{option, "the rig has no speaker \"" + label + '"', "give one of " + known};
  }
  Rig part = rig;
  std::erase_if(part.speakers,
                [&](const Speaker& speaker) { return std::ranges::find(labels, speaker.label) == labels.end(); });
  return part;
}

std::vector<PositionMeasurement> in_order_of(const Rig& whole, const Rig& part,
                                             std::vector<PositionMeasurement> measurements) {
  if (whole.speakers.size() == part.speakers.size()) return measurements;
  for (PositionMeasurement& position : measurements) {
    std::vector<SpeakerMeasurement> speakers(whole.speakers.size());
    for (std::size_t s = 0; s < part.speakers.size(); ++s) {
      const auto place = std::ranges::find(whole.speakers, part.speakers[s].label, &Speaker::label);
      speakers[static_cast<std::size_t>(place - whole.speakers.begin())] = std::move(position.speakers[s]);
    }
    position.speakers = std::move(speakers);
  }
  return measurements;
}

}  // namespace ringtrue::app
