#include "partner.hpp"

#include <algorithm>
#include <cstdlib>
#include <string>

#include "ringtrue/rig/layout.hpp"

namespace ringtrue {
namespace {

/// "Lss" -> "Rss", "M+090" -> "M-090", "side L" -> "side R"; the label itself when it has no side.
std::string mirrored(std::string label) {
  const std::size_t sign = label.find_first_of("+-");
  if (sign != std::string::npos) {
    label[sign] = label[sign] == '+' ? '-' : '+';
    return label;
  }
  for (const std::size_t i : {std::size_t{0}, label.size() - 1}) {
    if (label[i] != 'L' && label[i] != 'R') continue;
    label[i] = label[i] == 'L' ? 'R' : 'L';
    return label;
  }
  return label;
}

}  // namespace

std::optional<std::size_t> partner_of(const Rig& rig, std::size_t speaker) {
  const std::string other = mirrored(rig.speakers[speaker].label);
  for (std::size_t s = 0; s < rig.speakers.size(); ++s) {
    if (s != speaker && rig.speakers[s].label == other && rig.speakers[s].kind == rig.speakers[speaker].kind) return s;
  }
  return std::nullopt;
}

std::vector<std::size_t> others_by_nearness(const Rig& rig, std::size_t speaker) {
  std::vector<std::size_t> others;
  for (std::size_t s = 0; s < rig.speakers.size(); ++s) {
    if (s != speaker) others.push_back(s);
  }
  const auto partner = partner_of(rig, speaker);
  const auto away = [&](std::size_t s) {
    return partner && s == *partner ? 0 : std::abs(rig.speakers[s].output - rig.speakers[speaker].output);
  };
  std::ranges::stable_sort(others, {}, away);
  return others;
}

}  // namespace ringtrue
