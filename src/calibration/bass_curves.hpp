#pragma once

#include "bass.hpp"
#include "ringtrue/calibration/bass_picture.hpp"

namespace ringtrue {

/// The picture of an alignment. Trims must be set. @param alignment  of the group against arrival alone
[[nodiscard]] BassPicture picture_bass(const Rig& rig, const BassMeasurement& bass, const SubwooferGroup& group,
                                       const BassAlignment& alignment, std::span<const SpeakerResult> speakers);

}  // namespace ringtrue
