#pragma once

#include <span>
#include <vector>

#include "bass.hpp"

namespace ringtrue {

/// The subs that were heard and play the LFE channel alone, by channel: those of a rig without bass management, and
/// those it calls lfe_only. A layout with two LFE channels has a group for each of the two; every other sub plays the
/// first. Subs of a group are evened out over the mic positions as `even_out_subwoofers` says, the one that comes first
/// with the mains.
[[nodiscard]] std::vector<SubwooferGroup> group_lfe_only(const Rig& rig, const BassMeasurement& bass,
                                                         std::span<const SpeakerResult> speakers);

/// Fills in `calibration.lfe_groups` and the polarities of groups of several, adds their notes and their delays.
/// @param later_ms  per speaker: how much more delay it gets than what lets it arrive with the others
void align_lfe_only(const Rig& rig, std::span<const SubwooferGroup> groups, Calibration& calibration,
                    std::span<double> later_ms);

}  // namespace ringtrue
