#include "importance.hpp"

#include <cmath>

#include "ringtrue/rig/layout.hpp"

namespace ringtrue {
namespace {

constexpr double front = 1.5;
constexpr double height = 0.75;
constexpr double front_within_deg = 60.0;
constexpr double height_from_deg = 20.0;

/// The channel of that label in the rig's layout, or in the first layout that has it.
const LayoutChannel* likeliest_channel(const Rig& rig, const Speaker& speaker) {
  if (const Layout* const layout = find_layout(rig.layout)) {
    if (const LayoutChannel* const channel = find_channel(*layout, speaker.label)) return channel;
  }
  for (const Layout& layout : layouts()) {
    if (const LayoutChannel* const channel = find_channel(layout, speaker.label)) return channel;
  }
  return nullptr;
}

}  // namespace

double importance_of(const Rig& rig, std::size_t speaker) {
  const LayoutChannel* const channel = likeliest_channel(rig, rig.speakers[speaker]);
  if (channel == nullptr) return 1.0;
  if (std::abs(channel->nominal.elevation_deg) >= height_from_deg) return height;
  return std::abs(channel->nominal.azimuth_deg) <= front_within_deg ? front : 1.0;
}

}  // namespace ringtrue
