#pragma once

#include <optional>
#include <string>
#include <vector>

#include "ringtrue/core/geometry.hpp"
#include "ringtrue/rig/layout.hpp"
#include "ringtrue/rig/rig.hpp"

namespace ringtrue {

/// One loudspeaker that is to be placed.
struct RingSpeaker {
  std::string label;         // trade label ("Lss"), or the user's own
  std::string bs2051_label;  // "M+090"; empty where ITU-R BS.2051 has none
  int output = 1;            // of the interface, counted from 1
  SpeakerKind kind = SpeakerKind::main;
  Direction nominal;
  std::optional<AngleRange> range;  // where it may stand; empty: no source gives one
  bool own_place = false;           // the direction is the user's, not the layout's
};

/// The loudspeakers to place, in the order of their outputs.
struct Ring {
  std::string layout;             // as the rig will call it: "4+7+0", "9.1.6", "custom"
  const Layout* known = nullptr;  // where the angles come from; none for a ring of the user's own
  std::vector<RingSpeaker> speakers;
};

/// A known layout with its outputs in the order they are commonly wired (output_order).
[[nodiscard]] Ring ring_of(const Layout& layout);

/// Adds a loudspeaker on the next output, without an allowed range: its direction is the user's own. Where the ring has
/// a speaker of that label (capitals apart, BS.2051 label included), that one keeps its output and gets the direction.
/// A label that starts with LFE or Sub is a sub.
/// @throws InvalidInput  for a label that is none (1 to 16 of letters, digits, + - _ .), a direction that is none
///                       (azimuth -180 to 180, elevation -90 to 90 degrees), and a 65th speaker
void add_speaker(Ring& ring, const std::string& label, Direction direction);

/// The other speaker of a left-right pair: same kind, mirrored direction and range. Empty for one on the middle line
/// and for one that has no partner.
[[nodiscard]] std::optional<std::size_t> partner_of(const Ring& ring, std::size_t speaker);

}  // namespace ringtrue
