#include "lfe_only.hpp"

#include <algorithm>

#include "bass_notes.hpp"
#include "ringtrue/rig/layout.hpp"

namespace ringtrue {
namespace {

constexpr double output_evening_may_cost_db = 2.0;  // docs/bass.md

/// A number of its own for each LFE channel of the layout; 0 for whatever plays the first.
std::size_t lfe_channel(const Rig& rig, const Speaker& sub) {
  const Layout* const layout = find_layout(rig.layout);
  const LayoutChannel* const channel = layout == nullptr ? nullptr : find_channel(*layout, sub.label);
  if (channel == nullptr || !channel->is_lfe) return 0;
  return static_cast<std::size_t>(
      std::count_if(layout->channels.data(), channel, [](const LayoutChannel& earlier) { return earlier.is_lfe; }));
}

}  // namespace

std::vector<SubwooferGroup> group_lfe_only(const Rig& rig, const BassMeasurement& bass,
                                           std::span<const SpeakerResult> speakers) {
  std::vector<std::vector<std::size_t>> channels;
  for (std::size_t s = 0; s < rig.speakers.size(); ++s) {
    if (is_main(rig.speakers[s]) || plays_lows_of_mains(rig, s) || !bass.speakers[s]) continue;
    const std::size_t channel = lfe_channel(rig, rig.speakers[s]);
    channels.resize(std::max(channels.size(), channel + 1));
    channels[channel].push_back(s);
  }
  std::vector<SubwooferGroup> groups;
  for (std::vector<std::size_t>& members : channels) {
    if (members.empty()) continue;
    SubwooferGroup group = group_subwoofers(rig, bass, std::move(members), speakers, output_evening_may_cost_db);
    const double first_ms = std::ranges::min_element(group.offsets, {}, &SubwooferOffset::shift_ms)->shift_ms;
    for (SubwooferOffset& offset : group.offsets) offset.shift_ms -= first_ms;
    groups.push_back(std::move(group));
  }
  return groups;
}

void align_lfe_only(const Rig& rig, std::span<const SubwooferGroup> groups, Calibration& calibration,
                    std::span<double> later_ms) {
  for (const SubwooferGroup& group : groups) {
    LfeGroupResult result{.subs = {}, .spatial_variance_db2 = group.spatial_variance_db2};
    for (std::size_t k = 0; k < group.members.size(); ++k) {
      const std::size_t s = group.members[k];
      const SubwooferOffset& offset = group.offsets[k];
      SpeakerResult& sub = calibration.speakers[s];
      later_ms[s] = offset.shift_ms;
      if (group.members.size() > 1) sub.settings.invert = (arrival_sign(rig, sub) < 0.0) != offset.flip;
      result.subs.push_back({sub.label, offset.shift_ms, offset.gain_db});
    }
    calibration.lfe_groups.push_back(std::move(result));
    if (group.members.size() > 1) add_lfe_group_note(group, calibration);
  }
}

}  // namespace ringtrue
