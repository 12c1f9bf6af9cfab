#include "ringtrue/placement/ring.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "ringtrue/core/errors.hpp"

namespace ringtrue {
namespace {

constexpr std::size_t most_speakers = 64;  // as many as a rig may have
constexpr std::size_t longest_label = 32;  // of a rig

bool is_letter_or_digit(char c) { return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9'); }

bool is_label(std::string_view text) {
  const auto allowed = [](char c) { return is_letter_or_digit(c) || c == '+' || c == '-' || c == '_' || c == '.'; };
  return !text.empty() && text.size() <= longest_label && std::ranges::all_of(text, allowed);
}

std::string lower_case(std::string_view text) {
  std::string result{text};
  for (char& c : result) c = c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c;
  return result;
}

SpeakerKind kind_of(std::string_view label) {
  const std::string low = lower_case(label);
  return low.starts_with("lfe") || low.starts_with("sub") ? SpeakerKind::sub : SpeakerKind::main;
}

void require_label(const std::string& label) {
  if (is_label(label)) return;
  throw InvalidInput{"speaker " + label.substr(0, 2 * longest_label), "is no label",
                     "use 1 to 32 letters, digits, + - _ or ."};
}

void require_direction(const std::string& label, Direction direction) {
  const bool azimuth = std::abs(direction.azimuth_deg) <= 180.0;  // false for NaN, too
  const bool elevation = std::abs(direction.elevation_deg) <= 90.0;
  if (azimuth && elevation) return;
  throw InvalidInput{
      "speaker " + label,
      fmt::format("azimuth {}, elevation {} is no direction", direction.azimuth_deg, direction.elevation_deg),
      "azimuth is -180 to 180 degrees, positive to the left, elevation -90 to 90, positive up"};
}

RingSpeaker* find_speaker(Ring& ring, const std::string& label) {
  const std::string wanted = lower_case(label);
  const auto found = std::ranges::find_if(ring.speakers, [&](const RingSpeaker& speaker) {
    return lower_case(speaker.label) == wanted || lower_case(speaker.bs2051_label) == wanted;
  });
  return found == ring.speakers.end() ? nullptr : &*found;
}

bool is_mirrored(const std::optional<AngleRange>& a, const std::optional<AngleRange>& b) {
  if (!a || !b) return !a && !b;
  return a->az_min_deg == -b->az_max_deg && a->az_max_deg == -b->az_min_deg && a->el_min_deg == b->el_min_deg &&
         a->el_max_deg == b->el_max_deg;
}

bool is_pair(const RingSpeaker& a, const RingSpeaker& b) {
  const double azimuth = a.nominal.azimuth_deg;
  const bool on_middle_line = azimuth == 0.0 || std::abs(azimuth) == 180.0;
  return !on_middle_line && a.kind == b.kind && azimuth == -b.nominal.azimuth_deg &&
         a.nominal.elevation_deg == b.nominal.elevation_deg && is_mirrored(a.range, b.range);
}

}  // namespace

Ring ring_of(const Layout& layout) {
  const auto name = layout.bs2051_name.empty() ? layout.trade_names.front() : layout.bs2051_name;
  Ring ring{std::string{name}, &layout, {}};
  for (const std::size_t i : output_order(layout)) {
    const LayoutChannel& channel = layout.channels[i];
    ring.speakers.push_back({std::string{channel.label}, std::string{channel.bs2051_label},
                             static_cast<int>(ring.speakers.size()) + 1,
                             channel.is_lfe ? SpeakerKind::sub : SpeakerKind::main, channel.nominal, channel.range});
  }
  return ring;
}

void add_speaker(Ring& ring, const std::string& label, Direction direction) {
  require_label(label);
  require_direction(label, direction);
  if (RingSpeaker* const known = find_speaker(ring, label)) {
    known->nominal = direction;
    known->range.reset();
    known->own_place = true;
    return;
  }
  if (ring.speakers.size() == most_speakers) {
    throw InvalidInput{"speaker " + label, "is one too many", "a rig has at most 64 speakers"};
  }
  ring.speakers.push_back({label, {}, static_cast<int>(ring.speakers.size()) + 1, kind_of(label), direction, {}, true});
}

std::optional<std::size_t> partner_of(const Ring& ring, std::size_t speaker) {
  for (std::size_t i = 0; i < ring.speakers.size(); ++i) {
    if (i != speaker && is_pair(ring.speakers[speaker], ring.speakers[i])) return i;
  }
  return std::nullopt;
}

}  // namespace ringtrue
