#include "ringtrue/placement/judge_places.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>

#include "ringtrue/rig/layout.hpp"

namespace ringtrue {
namespace {

constexpr double outside_deg = 10.0;    // beyond its range: worth moving
constexpr double astray_deg = 22.0;     // from its own nominal direction: may be another speaker's place
constexpr double at_home_deg = 20.0;    // from another's nominal direction: stands in that place
constexpr double clearly_nearer = 0.6;  // the other place must be that much nearer than its own

double between_deg(Direction a, Direction b) {
  const double cosine = std::clamp(dot(place(a, 1.0), place(b, 1.0)), -1.0, 1.0);
  return std::acos(cosine) * 180.0 / std::numbers::pi;
}

const LayoutChannel* channel_of(const Rig& rig, const Speaker& speaker) {
  const Layout* layout = find_layout(rig.layout);
  if (layout == nullptr || speaker.kind == SpeakerKind::sub) return nullptr;
  const LayoutChannel* channel = find_channel(*layout, speaker.label);
  return channel == nullptr || channel->is_lfe ? nullptr : channel;
}

/// Azimuth brought within half a turn of the range's middle, so that bounds can be compared.
double azimuth_near(double azimuth_deg, const AngleRange& range) {
  const double middle = 0.5 * (range.az_min_deg + range.az_max_deg);
  return middle + std::remainder(azimuth_deg - middle, 360.0);
}

/// The nearest direction inside the range (or the nominal one, where the source gives none).
Direction nearest_allowed(const LayoutChannel& channel, Direction found) {
  if (!channel.range) return channel.nominal;
  const AngleRange& range = *channel.range;
  return {std::clamp(azimuth_near(found.azimuth_deg, range), range.az_min_deg, range.az_max_deg),
          std::clamp(found.elevation_deg, range.el_min_deg, range.el_max_deg)};
}

std::string centimetres(double metres, const char* positive, const char* negative) {
  const long whole = std::lround(metres * 100.0);
  return whole == 0 ? "" : fmt::format("{} cm {}", std::abs(whole), whole > 0 ? positive : negative);
}

/// "14 cm to the left, 6 cm back, 10 cm up"
std::string movement(Point from, Point to) {
  const Point way = to - from;
  std::string words;
  for (const std::string& part : {centimetres(way.x, "to the right", "to the left"),
                                  centimetres(way.y, "forward", "back"), centimetres(way.z, "up", "down")}) {
    if (part.empty()) continue;
    if (!words.empty()) words += ", ";
    words += part;
  }
  return words;
}

/// A speaker that was found, with its channel.
struct Candidate {
  std::size_t speaker;
  const LayoutChannel* channel;
  Direction direction;
  Located where;
};

std::vector<Candidate> candidates(const Rig& rig, std::span<const std::optional<Located>> found) {
  std::vector<Candidate> all;
  for (std::size_t s = 0; s < rig.speakers.size(); ++s) {
    const LayoutChannel* channel = channel_of(rig, rig.speakers[s]);
    if (channel != nullptr && found[s]) all.push_back({s, channel, direction_of(found[s]->place), *found[s]});
  }
  return all;
}

/// True when two speakers stand nearer to each other's places than to their own, by 20 degrees together.
bool exchanged(const Candidate& one, const Candidate& other) {
  constexpr double gain_deg = 20.0;
  const double own = between_deg(one.direction, one.channel->nominal);
  const double others_own = between_deg(other.direction, other.channel->nominal);
  const double across = between_deg(one.direction, other.channel->nominal);
  const double back = between_deg(other.direction, one.channel->nominal);
  return across < own && back < others_own && own + others_own - across - back > gain_deg;
}

/// The other speaker whose place this one stands in, if any.
const Candidate* place_taken(const Candidate& one, std::span<const Candidate> all) {
  const Candidate* partner = nullptr;
  for (const Candidate& other : all) {
    if (other.speaker == one.speaker || !exchanged(one, other)) continue;
    const auto away = [&](const Candidate& candidate) {
      return between_deg(one.direction, candidate.channel->nominal);
    };
    if (partner == nullptr || away(other) < away(*partner)) partner = &other;
  }
  if (partner != nullptr) return partner;

  const double own = between_deg(one.direction, one.channel->nominal);
  if (own < astray_deg + 2.0 * one.where.direction_uncertainty_deg) return nullptr;
  const Candidate* taken = nullptr;
  double nearest = std::min(at_home_deg, clearly_nearer * own);
  for (const Candidate& other : all) {
    if (other.speaker == one.speaker) continue;
    const double away = between_deg(one.direction, other.channel->nominal);
    if (away >= nearest) continue;
    nearest = away;
    taken = &other;
  }
  return taken;
}

}  // namespace

std::vector<Direction> nominal_directions(const Rig& rig) {
  std::vector<Direction> directions;
  for (const Speaker& speaker : rig.speakers) {
    if (const LayoutChannel* channel = channel_of(rig, speaker)) directions.push_back(channel->nominal);
  }
  return directions;
}

Findings judge_places(const Rig& rig, std::span<const std::optional<Located>> found) {
  Findings findings;
  const std::vector<Candidate> all = candidates(rig, found);
  for (const Candidate& one : all) {
    const Speaker& speaker = rig.speakers[one.speaker];
    if (const Candidate* other = place_taken(one, all)) {
      const Speaker& owner = rig.speakers[other->speaker];
      findings.push_back({Severity::stop, "swapped-outputs", speaker.label,
                          fmt::format("Output {} ({}) plays the speaker that stands where {} (output {}) belongs. "
                                      "Exchange the two cables and measure again; until then its settings belong to "
                                      "the other speaker.",
                                      speaker.output, speaker.label, owner.label, owner.output)});
      continue;
    }
    const Direction allowed = nearest_allowed(*one.channel, one.direction);
    const double outside = between_deg(one.direction, allowed);
    if (outside <= outside_deg + one.where.direction_uncertainty_deg) continue;
    const double distance = length_m(one.where.place);
    findings.push_back(
        {Severity::warn, "wrong-place", speaker.label,
         fmt::format("{} stands {:.0f} degrees outside its range (found at azimuth {:.0f}, elevation {:.0f}). Move it "
                     "{}.",
                     speaker.label, outside, one.direction.azimuth_deg, one.direction.elevation_deg,
                     movement(one.where.place, place(allowed, distance)))});
  }
  return findings;
}

}  // namespace ringtrue
