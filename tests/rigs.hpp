#pragma once

#include <string>
#include <vector>

#include "ringtrue/rig/rig.hpp"
#include "ringtrue/stimulus/stimulus.hpp"

namespace ringtrue::test {

/// Mains on outputs 1.. and, when asked for, a sub after them.
[[nodiscard]] inline Rig simple_rig(int mains, bool with_sub = false) {
  Rig rig;
  rig.layout = "custom";
  for (int i = 1; i <= mains; ++i) {
    Speaker speaker;
    speaker.label = std::string{"M"}.append(std::to_string(i));
    speaker.output = i;
    rig.speakers.push_back(speaker);
  }
  if (with_sub) {
    Speaker sub;
    sub.label = "LFE";
    sub.output = mains + 1;
    sub.kind = SpeakerKind::sub;
    sub.band = {Hertz{20.0}, Hertz{200.0}};
    rig.speakers.push_back(sub);
  }
  return rig;
}

/// Sweeps of one length for mains and subs, shorter than the usual ones.
[[nodiscard]] inline StimulusOptions sweeps_of(Seconds length, Seconds decay) {
  StimulusOptions options;
  options.main_sweep = length;
  options.sub_sweep = length;
  options.decay = decay;
  return options;
}

}  // namespace ringtrue::test
