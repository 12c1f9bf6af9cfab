#include "ringtrue/placement/judge_places.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>

#include "exchanged.hpp"
#include "ringtrue/placement/angle_words.hpp"
#include "ringtrue/placement/nominal.hpp"

namespace ringtrue {
namespace {

constexpr double unsure_deg = 8.0;         // a direction less sure than that proves nothing
constexpr double unsure_out_deg = 5.0;     // less sure than that: it may as well be its partner that stands wrong
constexpr double outside_deg = 6.0;        // beyond its range: half way between none and more than 10
constexpr double missed_deg = 10.0;        // what must not pass in silence
constexpr double unsure_distance_m = 0.3;  // then a way in centimetres would be invented
constexpr double uneven_deg = 5.0;         // of a pair, against its mirror image: common practice
constexpr double uneven_share = 0.15;      // of its distance

std::string centimetres(double metres, const char* positive, const char* negative) {
  const long whole = std::lround(metres * 100.0);
  return whole == 0 ? "" : fmt::format("{} cm {}", std::abs(whole), whole > 0 ? positive : negative);
}

std::vector<std::optional<Located>> sure_ones(std::span<const std::optional<Located>> found) {
  std::vector<std::optional<Located>> sure(found.begin(), found.end());
  for (auto& located : sure) {
    if (located && located->direction_uncertainty_deg > unsure_deg) located.reset();
  }
  return sure;
}

/// Degrees outside the range in azimuth or elevation, whichever is more, and how sure that is. Straight above and below
/// the listener azimuths mean nothing: there the angle between the directions counts.
struct Outside {
  double degrees = 0.0;
  double uncertainty_deg = 0.0;
};

Outside outside_range(const NominalPlace& nominal, const Located& located) {
  constexpr double steep = 0.35;  // cosine of 70 degrees
  const Direction found = direction_of(located.place);
  const Direction allowed = nearest_allowed(nominal, found);
  const double level = std::cos(found.elevation_deg * std::numbers::pi / 180.0);
  const double between_deg = angle_between_deg(found, allowed);
  const double sure_deg = located.direction_uncertainty_deg;
  if (level < steep || std::cos(allowed.elevation_deg * std::numbers::pi / 180.0) < steep) {
    return {between_deg, sure_deg};
  }
  const double azimuth_deg = std::abs(std::remainder(found.azimuth_deg - allowed.azimuth_deg, 360.0));
  const double elevation_deg = std::abs(found.elevation_deg - allowed.elevation_deg);
  if (azimuth_deg > elevation_deg) return {azimuth_deg, sure_deg / level};
  return {elevation_deg, sure_deg};
}

/// How to move it: through the room where its distance is known, else by angles.
std::string instruction(const NominalPlace& nominal, const Located& located) {
  const Direction allowed = nearest_allowed(nominal, direction_of(located.place));
  const double distance_m = length_m(located.place);
  if (located.distance_uncertainty_m <= unsure_distance_m) {
    return "Move it " + movement_words(place(allowed, distance_m) - located.place) + '.';
  }
  return fmt::format("Move it to azimuth {}, elevation {}.", degrees(allowed.azimuth_deg),
                     degrees(allowed.elevation_deg));
}

std::string found_words(Direction direction) {
  return fmt::format("azimuth {:.0f}, elevation {:.0f}", std::round(direction.azimuth_deg) + 0.0,
                     std::round(direction.elevation_deg) + 0.0);
}

/// A degree of uncertainty is usual; what is less sure must lie further out.
bool is_wrong(const Outside& outside) {
  return outside.uncertainty_deg <= unsure_out_deg &&
         outside.degrees >= outside_deg + 1.5 * std::max(0.0, outside.uncertainty_deg - 1.0);
}

void add_wrong_place(const Speaker& speaker, const NominalPlace& nominal, const Located& located, Findings& findings) {
  const Outside outside = outside_range(nominal, located);
  if (!is_wrong(outside)) return;
  const char* range = nominal.range ? "outside its range" : "from its place";
  findings.push_back({Severity::warn, "wrong-place", speaker.label,
                      fmt::format("{} stands {:.0f} degrees {} (found at {}). {}", speaker.label, outside.degrees,
                                  range, found_words(direction_of(located.place)), instruction(nominal, located))});
}

/// Speakers that are named by no finding yet and may all the same stand 10 degrees out, as far as can be told: one
/// finding for all of them, a warning where one seems to be out.
void add_unsure_places(const Rig& rig, std::span<const std::optional<NominalPlace>> nominal,
                       std::span<const std::optional<Located>> found, Findings& findings) {
  std::string labels;
  double least_sure_deg = 0.0;
  std::string seems_out;
  for (std::size_t s = 0; s < rig.speakers.size(); ++s) {
    const std::string& label = rig.speakers[s].label;
    const bool named = std::ranges::any_of(findings, [&](const Finding& f) { return f.speaker == label; });
    if (!found[s] || !nominal[s] || named) continue;
    const Outside outside = outside_range(*nominal[s], *found[s]);
    if (outside.degrees + 2.0 * outside.uncertainty_deg < missed_deg) continue;
    labels += (labels.empty() ? "" : ", ") + label;
    least_sure_deg = std::max(least_sure_deg, found[s]->direction_uncertainty_deg);
    if (outside.degrees < outside_deg) continue;
    seems_out += fmt::format(" {} may be {:.0f} degrees out.", label, outside.degrees);
  }
  if (labels.empty()) return;
  findings.push_back({seems_out.empty() ? Severity::note : Severity::warn, "place-unsure", std::nullopt,
                      fmt::format("{}: directions are sure to {:.0f} degrees only, so that one that stands 10 degrees "
                                  "out could be missed.{} Check the places with a tape, or measure with a loopback or "
                                  "at six mic spots instead of four.",
                                  labels, std::ceil(least_sure_deg), seems_out)});
}

bool is_pair(const NominalPlace& left, const NominalPlace& right) {
  const double azimuth_deg = left.direction.azimuth_deg;
  return azimuth_deg > 0.0 && azimuth_deg < 180.0 && right.direction.azimuth_deg == -azimuth_deg &&
         right.direction.elevation_deg == left.direction.elevation_deg;
}

std::string pair_words(const Speaker& speaker, const Located& located) {
  const std::string distance = located.distance_uncertainty_m <= unsure_distance_m
                                   ? fmt::format(", {:.2f} m", length_m(located.place))
                                   : std::string{};
  return fmt::format("{} at {}{}", speaker.label, found_words(direction_of(located.place)), distance);
}

void add_uneven_pair(const Speaker& left, const Located& of_left, const Speaker& right, const Located& of_right,
                     Findings& findings) {
  const Point mirrored{-of_right.place.x, of_right.place.y, of_right.place.z};
  const double away_deg = angle_between_deg(direction_of(of_left.place), direction_of(mirrored));
  const double sure_deg = std::hypot(of_left.direction_uncertainty_deg, of_right.direction_uncertainty_deg);
  const double ratio = length_m(of_left.place) / std::max(0.1, length_m(of_right.place));
  const bool uneven_distance = std::max(ratio, 1.0 / std::max(0.1, ratio)) > 1.0 + uneven_share &&
                               of_left.distance_uncertainty_m <= unsure_distance_m;
  if (away_deg < uneven_deg + 2.0 * sure_deg && !uneven_distance) return;
  findings.push_back({Severity::note, "uneven-pair", left.label,
                      fmt::format("{}, {}: a pair images best as mirror images. Delay and trim make up for unequal "
                                  "distances, not for angles.",
                                  pair_words(left, of_left), pair_words(right, of_right))});
}

}  // namespace

std::string movement_words(Point way) {
  std::string words;
  for (const std::string& part : {centimetres(way.x, "to the right", "to the left"),
                                  centimetres(way.y, "forward", "back"), centimetres(way.z, "up", "down")}) {
    if (part.empty()) continue;
    if (!words.empty()) words += ", ";
    words += part;
  }
  return words;
}

Findings judge_places(const Rig& rig, std::span<const std::optional<Located>> found) {
  Findings findings;
  const auto nominal = nominal_places(rig);
  const auto sure = sure_ones(found);
  const auto taken = places_taken(nominal, sure);
  for (std::size_t s = 0; s < rig.speakers.size(); ++s) {
    if (!sure[s] || !nominal[s]) continue;
    const Speaker& speaker = rig.speakers[s];
    if (taken[s] == s) {
      add_wrong_place(speaker, *nominal[s], *sure[s], findings);
      continue;
    }
    const Speaker& owner = rig.speakers[taken[s]];
    findings.push_back({Severity::stop, "swapped-outputs", speaker.label,
                        fmt::format("Output {} ({}) plays the speaker that stands where {} (output {}) belongs. "
                                    "Exchange the two cables and measure again; until then its settings belong to "
                                    "the other speaker.",
                                    speaker.output, speaker.label, owner.label, owner.output)});
  }
  add_unsure_places(rig, nominal, found, findings);
  if (!findings.empty()) return findings;  // first things first
  for (std::size_t a = 0; a < rig.speakers.size(); ++a) {
    for (std::size_t b = 0; b < rig.speakers.size(); ++b) {
      if (!sure[a] || !sure[b] || !nominal[a] || !nominal[b] || !is_pair(*nominal[a], *nominal[b])) continue;
      add_uneven_pair(rig.speakers[a], *sure[a], rig.speakers[b], *sure[b], findings);
    }
  }
  return findings;
}

}  // namespace ringtrue
