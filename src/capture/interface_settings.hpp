#pragma once

#include "ringtrue/calibration/calibration.hpp"
#include "speaker_sound.hpp"

namespace ringtrue {

/// What the interface makes of an output before the speaker gets it: equaliser (W3C Audio EQ Cookbook, at the
/// interface's sample rate), trim, polarity and delay, the delay exact to a fraction of a frame. Empty settings are 0.
void type_in(const Settings& settings, double sample_rate_hz, SpeakerResponse& response);

}  // namespace ringtrue
