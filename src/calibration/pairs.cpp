#include "pairs.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <string>

#include "ringtrue/rig/layout.hpp"

namespace ringtrue {
namespace {

char lower(char c) { return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c; }

std::string lower(std::string text) {
  for (char& c : text) c = lower(c);
  return text;
}

const LayoutChannel* own_channel(const Rig& rig, const Speaker& speaker) {
  const Layout* const layout = find_layout(rig.layout);
  return layout == nullptr ? nullptr : find_channel(*layout, speaker.label);
}

bool mirrored(const LayoutChannel& a, const LayoutChannel& b) {
  const double azimuth = std::abs(a.nominal.azimuth_deg);
  return azimuth > 0.5 && azimuth < 179.5 && std::abs(a.nominal.azimuth_deg + b.nominal.azimuth_deg) < 0.5 &&
         std::abs(a.nominal.elevation_deg - b.nominal.elevation_deg) < 0.5;
}

/// The label with left for right and right for left; the same label where it names no side.
std::string other_side(const std::string& label) {
  const std::string text = lower(label);
  constexpr std::array<std::array<const char*, 2>, 2> sides{{{"left", "right"}, {"right", "left"}}};
  for (const auto& [from, to] : sides) {
    if (const auto at = text.find(from); at != std::string::npos) {
      return text.substr(0, at) + to + text.substr(at + std::string{from}.size());
    }
  }
  const bool side = !text.empty() && (label[0] == 'L' || label[0] == 'R');
  return side ? (label[0] == 'L' ? 'r' : 'l') + text.substr(1) : text;
}

bool is_pair(const Rig& rig, const Speaker& a, const Speaker& b) {
  const LayoutChannel* const channel_a = own_channel(rig, a);
  const LayoutChannel* const channel_b = own_channel(rig, b);
  if (channel_a != nullptr && channel_b != nullptr) return mirrored(*channel_a, *channel_b);
  return lower(a.label) != lower(b.label) && other_side(a.label) == lower(b.label);
}

}  // namespace

std::vector<std::vector<std::size_t>> left_right_groups(const Rig& rig, const std::vector<bool>& takes_part) {
  std::vector<std::vector<std::size_t>> groups;
  std::vector<bool> placed(rig.speakers.size());
  for (std::size_t a = 0; a < rig.speakers.size(); ++a) {
    if (placed[a] || !takes_part[a] || rig.speakers[a].kind != SpeakerKind::main) continue;
    groups.push_back({a});
    for (std::size_t b = a + 1; b < rig.speakers.size(); ++b) {
      if (placed[b] || !takes_part[b] || rig.speakers[b].kind != SpeakerKind::main) continue;
      if (!is_pair(rig, rig.speakers[a], rig.speakers[b])) continue;
      groups.back().push_back(b);
      placed[b] = true;
      break;
    }
  }
  return groups;
}

}  // namespace ringtrue
