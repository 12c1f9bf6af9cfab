#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "angles.hpp"
#include "ringtrue/placement/angle_words.hpp"
#include "ringtrue/placement/fit.hpp"

namespace ringtrue {
namespace {

/// One speaker, or a pair that shares what is to be said.
struct Subject {
  std::size_t speaker;
  std::optional<std::size_t> partner;
};

std::vector<Subject> subjects(const Ring& ring) {
  std::vector<Subject> result;
  for (std::size_t i = 0; i < ring.speakers.size(); ++i) {
    const auto partner = partner_of(ring, i);
    if (!partner || ring.speakers[i].nominal.azimuth_deg > 0.0) result.push_back({i, partner});
  }
  return result;
}

std::string names(const Ring& ring, const Subject& subject) {
  const std::string& label = ring.speakers[subject.speaker].label;
  return subject.partner ? label + " and " + ring.speakers[*subject.partner].label : label;
}

std::optional<std::string> single(const Ring& ring, const Subject& subject) {
  if (subject.partner) return std::nullopt;
  return ring.speakers[subject.speaker].label;
}

const char* verb(const Subject& subject, const char* one, const char* two) { return subject.partner ? two : one; }

bool is_side(Surface limit) { return limit == Surface::left_wall || limit == Surface::right_wall; }

/// "the side walls" for a pair between them.
std::string surface_in_words(const Subject& subject, Surface limit) {
  return subject.partner && is_side(limit) ? "the side walls" : fmt::format("the {}", name(limit));
}

/// "the side walls are"
std::string limit_in_words(const Subject& subject, Surface limit) {
  return surface_in_words(subject, limit) + (subject.partner && is_side(limit) ? " are" : " is");
}

/// "the front wall (for C), the side walls (for Lss and Rss, Lrs and Rrs)"
std::string limits_of(const Ring& ring, const FittedRing& fitted) {
  std::vector<std::pair<std::string, std::string>> surfaces;  // with the speakers they limit
  for (const Subject& subject : subjects(ring)) {
    if (std::ranges::find(fitted.limited, subject.speaker) == fitted.limited.end()) continue;
    const std::string words = surface_in_words(subject, fitted.speakers[subject.speaker].limit);
    auto known = std::ranges::find(surfaces, words, &std::pair<std::string, std::string>::first);
    if (known == surfaces.end()) known = surfaces.insert(known, {words, ""});
    known->second += (known->second.empty() ? "" : ", ") + names(ring, subject);
  }
  std::string all;
  for (const auto& [words, who] : surfaces) all += fmt::format("{}{} (for {})", all.empty() ? "" : ", ", words, who);
  return all;
}

Finding shorter_ring(const Ring& ring, const FittedRing& fitted, double wanted_m) {
  return {Severity::note, "shorter-ring", std::nullopt,
          fmt::format("The ring is {:.2f} m from the ear instead of {:.2f} m. Too near for more: {}.",
                      fitted.distance_m, wanted_m, limits_of(ring, fitted))};
}

Finding unequal_distance(const Ring& ring, const FittedRing& fitted, const Subject& subject) {
  const FittedSpeaker& speaker = fitted.speakers[subject.speaker];
  return {Severity::note, "unequal-distance", single(ring, subject),
          fmt::format("{} {} {:.2f} m from the ear, the ring {:.2f} m: {} in the way. Nothing is lost: delay and trim "
                      "will make up for it.",
                      names(ring, subject), verb(subject, "is", "are"), speaker.distance_m, fitted.distance_m,
                      limit_in_words(subject, speaker.limit))};
}

bool is_turned(const RingSpeaker& speaker, Direction direction) {
  return direction.azimuth_deg != speaker.nominal.azimuth_deg ||
         direction.elevation_deg != speaker.nominal.elevation_deg;
}

/// "azimuth 146 instead of 135 degrees (allowed: 120 to 150)"; azimuths of a pair are those of its left one.
std::string turn_in_words(const RingSpeaker& speaker, Direction direction) {
  const AngleRange range = range_or_nominal(speaker);
  std::string words;
  const auto add = [&](const char* what, double now, double nominal, double low, double high) {
    if (now == nominal) return;
    words += fmt::format("{}{} {} instead of {} degrees (allowed: {})", words.empty() ? "" : ", ", what, degrees(now),
                         degrees(nominal), degrees_between(low, high));
  };
  add("azimuth", direction.azimuth_deg, speaker.nominal.azimuth_deg, range.az_min_deg, range.az_max_deg);
  add("elevation", direction.elevation_deg, speaker.nominal.elevation_deg, range.el_min_deg, range.el_max_deg);
  return words;
}

Finding turned(const Ring& ring, const FittedRing& fitted, const Subject& subject) {
  const FittedSpeaker& place = fitted.speakers[subject.speaker];
  return {Severity::note, "turned-within-range", single(ring, subject),
          fmt::format(
              "{} {} at {}: {} in the way otherwise.", names(ring, subject), verb(subject, "stands", "stand each"),
              turn_in_words(ring.speakers[subject.speaker], place.direction), limit_in_words(subject, place.limit))};
}

Finding out_of_range(const Ring& ring, const FittedRing& fitted, const Subject& subject) {
  const RingSpeaker& speaker = ring.speakers[subject.speaker];
  const FittedSpeaker& place = fitted.speakers[subject.speaker];
  return {Severity::warn, "place-out-of-range", single(ring, subject),
          fmt::format("{} {} no place in the allowed range: {} too near ({:.2f} m). The nearest possible: {}. Move the "
                      "listener, or leave {} out.",
                      names(ring, subject), verb(subject, "has", "have"), limit_in_words(subject, place.limit),
                      place.room_m, turn_in_words(speaker, place.direction), verb(subject, "it", "them"))};
}

/// A sub cannot be heard as a direction, so its range matters little: a note.
Finding sub_out_of_range(const Ring& ring, const FittedRing& fitted, const Subject& subject) {
  return {Severity::note, "place-out-of-range", single(ring, subject),
          fmt::format("{} on the floor {} at {}: outside the range, but lows have no direction for the ear.",
                      names(ring, subject), verb(subject, "stands", "stand each"),
                      turn_in_words(ring.speakers[subject.speaker], fitted.speakers[subject.speaker].direction))};
}

void explain_main(const Ring& ring, const FittedRing& fitted, const Subject& subject, Findings& findings) {
  const RingSpeaker& speaker = ring.speakers[subject.speaker];
  const FittedSpeaker& place = fitted.speakers[subject.speaker];
  if (!is_in_range(speaker, place.direction)) {
    findings.push_back(out_of_range(ring, fitted, subject));
  } else if (is_turned(speaker, place.direction)) {
    findings.push_back(turned(ring, fitted, subject));
  }
  if (place.distance_m < fitted.distance_m) findings.push_back(unequal_distance(ring, fitted, subject));
}

bool sub_is_in_range(const RingSpeaker& sub, Direction direction) {
  if (sub.range) return is_in_range(sub, direction);
  return direction.azimuth_deg == sub.nominal.azimuth_deg;  // the floor decides the elevation
}

/// Where two stands would have one place. A speaker with its own mount on the ceiling is the user's to take out.
std::string crowded_pairs(const Ring& ring, const FittedRing& fitted) {
  std::string pairs;
  for (std::size_t a = 0; a < fitted.speakers.size(); ++a) {
    for (std::size_t b = a + 1; b < fitted.speakers.size(); ++b) {
      const Point gap = place(fitted.speakers[a].direction, fitted.speakers[a].distance_m) -
                        place(fitted.speakers[b].direction, fitted.speakers[b].distance_m);
      const double gap_m = std::hypot(gap.x, gap.y);
      if (gap_m >= stand_room_m) continue;
      pairs += fmt::format("{}{} and {} ({:.2f} m)", pairs.empty() ? "" : ", ", ring.speakers[a].label,
                           ring.speakers[b].label, gap_m);
    }
  }
  return pairs;
}

}  // namespace

Findings explain_fit(const Ring& ring, const FittedRing& fitted, Metres wanted) {
  Findings findings;
  if (fitted.distance_m < wanted.value()) findings.push_back(shorter_ring(ring, fitted, wanted.value()));
  for (const Subject& subject : subjects(ring)) {
    const RingSpeaker& speaker = ring.speakers[subject.speaker];
    if (speaker.kind == SpeakerKind::main) {
      explain_main(ring, fitted, subject, findings);
    } else if (!sub_is_in_range(speaker, fitted.speakers[subject.speaker].direction)) {
      findings.push_back(sub_out_of_range(ring, fitted, subject));
    }
  }
  const std::string crowded = crowded_pairs(ring, fitted);
  if (!crowded.empty()) {
    findings.push_back({Severity::note, "crowded-floor", std::nullopt,
                        "Floor marks too near for two stands: " + crowded +
                            ". Hang one of them, or put both on one stand with a boom."});
  }
  return findings;
}

}  // namespace ringtrue
