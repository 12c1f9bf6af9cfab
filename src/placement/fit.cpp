#include "ringtrue/placement/fit.hpp"

#include <algorithm>
#include <cmath>
#include <functional>
#include <limits>
#include <optional>

#include "angles.hpp"
#include "penalties.hpp"
#include "sub_place.hpp"

namespace ringtrue {
namespace {

double whole_centimetres(double metres) { return std::floor(metres * 100.0 + 1e-6) / 100.0; }

/// One speaker, or both of a pair at once: then every distance is the smaller one of both sides.
struct Seeker {
  const RingSpeaker* speaker;
  bool paired;
  const SpeakerSpace* space;

  [[nodiscard]] Reach reach_towards(Direction direction) const {
    const Reach here = reach(*space, direction);
    if (!paired) return here;
    const Reach there = reach(*space, {-direction.azimuth_deg, direction.elevation_deg});
    return there.distance_m < here.distance_m ? there : here;
  }

  [[nodiscard]] double distance_towards(Direction direction, double target_m) const {
    const double room_m = reach_towards(direction).distance_m;
    return room_m + 1e-9 >= target_m ? target_m : whole_centimetres(room_m);
  }
};

double turn_deg(const RingSpeaker& speaker, Direction direction) {
  return std::abs(direction.azimuth_deg - speaker.nominal.azimuth_deg) +
         std::abs(direction.elevation_deg - speaker.nominal.elevation_deg);
}

/// The cheapest direction in a range at a distance of at least `least_m`; distance 0 when there is none.
FittedSpeaker cheapest(const Seeker& seeker, const AngleRange& range, double target_m, double least_m) {
  const RingSpeaker& speaker = *seeker.speaker;
  const AngleRange allowed = range_or_nominal(speaker);
  FittedSpeaker best;
  double best_cost = std::numeric_limits<double>::infinity();
  for (const double azimuth_deg : angles_around(speaker.nominal.azimuth_deg, range.az_min_deg, range.az_max_deg)) {
    for (const double elevation_deg :
         angles_around(speaker.nominal.elevation_deg, range.el_min_deg, range.el_max_deg)) {
      const Direction direction{azimuth_deg, elevation_deg};
      const double turning = penalty::per_degree * turn_deg(speaker, direction);
      if (turning >= best_cost) break;  // further elevations turn further
      const double distance_m = seeker.distance_towards(direction, target_m);
      const double cost =
          turning + penalty::outside(outside_deg(direction, allowed)) + penalty::shortened(distance_m, target_m);
      if (distance_m < least_m || cost >= best_cost) continue;
      best_cost = cost;
      best.direction = direction;
      best.distance_m = distance_m;
    }
  }
  return best;
}

/// All directions a speaker may be moved to when its range is impossible: a pair keeps its sides.
AngleRange everywhere(bool paired) { return {paired ? 0.0 : -180.0, 180.0, -90.0, 90.0}; }

FittedSpeaker fit_in_range(const Seeker& seeker, double target_m) {
  return cheapest(seeker, range_or_nominal(*seeker.speaker), target_m, std::min(nearest_speaker_m, target_m));
}

FittedSpeaker fit_main(const Seeker& seeker, double target_m) {
  FittedSpeaker fitted = fit_in_range(seeker, target_m);
  if (fitted.distance_m == 0.0) {
    fitted = cheapest(seeker, everywhere(seeker.paired), target_m, std::min(nearest_speaker_m, target_m));
  }
  const Reach nominal = seeker.reach_towards(seeker.speaker->nominal);
  fitted.limit = nominal.limit;
  fitted.room_m = nominal.distance_m;
  return fitted;
}

bool is_on_ring(const RingSpeaker& speaker) {
  return speaker.kind == SpeakerKind::main && speaker.nominal.elevation_deg == 0.0;
}

bool is_mirror_image(const Ring& ring, std::size_t i) {
  return ring.speakers[i].nominal.azimuth_deg < 0.0 && partner_of(ring, i).has_value();
}

Seeker seeker_for(const Ring& ring, std::size_t i, const SpeakerSpace& space) {
  return {&ring.speakers[i], partner_of(ring, i).has_value(), &space};
}

/// How far each speaker of the ring's plane can stand that has a place in its range; empty for the others.
std::vector<std::optional<double>> distances_in_plane(const Ring& ring, const SpeakerSpace& space, double wanted_m) {
  std::vector<std::optional<double>> distances_m(ring.speakers.size());
  for (std::size_t i = 0; i < ring.speakers.size(); ++i) {
    if (!is_on_ring(ring.speakers[i])) continue;
    const std::size_t one_side = is_mirror_image(ring, i) ? *partner_of(ring, i) : i;
    const double distance_m = fit_in_range(seeker_for(ring, one_side, space), wanted_m).distance_m;
    if (distance_m > 0.0) distances_m[i] = distance_m;
  }
  return distances_m;
}

/// The ring gives way to the speakers that cannot stand at its distance, the more of them, the further: if n of N
/// cannot, by at most the share n / 2N. So two of seven draw in a ring by up to 14 percent, all of them by up to half.
double ring_distance(std::vector<double> possible_m, double wanted_m) {
  if (possible_m.empty()) return wanted_m;
  std::ranges::sort(possible_m, std::greater{});
  const double start_m = std::min(wanted_m, possible_m.front());
  double ring_m = start_m;
  for (std::size_t others = 0; others < possible_m.size(); ++others) {
    if (possible_m[others] >= ring_m) continue;
    const double share = static_cast<double>(possible_m.size() - others) / static_cast<double>(possible_m.size());
    const double least_m = start_m * (1.0 - 0.5 * share);
    if (possible_m[others] < least_m) return std::min(ring_m, whole_centimetres(least_m));
    ring_m = possible_m[others];
  }
  return ring_m;
}

FittedSpeaker mirrored(FittedSpeaker fitted) {
  fitted.direction.azimuth_deg = -fitted.direction.azimuth_deg;
  if (fitted.limit == Surface::left_wall) {
    fitted.limit = Surface::right_wall;
  } else if (fitted.limit == Surface::right_wall) {
    fitted.limit = Surface::left_wall;
  }
  return fitted;
}

/// Fits the speakers of one kind, left ones first, so that right ones can be their mirror images.
template <class Fit>
void fit_kind(const Ring& ring, SpeakerKind kind, std::vector<FittedSpeaker>& fitted, const Fit& fit) {
  const auto of_kind = [&](std::size_t i) { return ring.speakers[i].kind == kind; };
  for (std::size_t i = 0; i < fitted.size(); ++i) {
    if (of_kind(i) && !is_mirror_image(ring, i)) fitted[i] = fit(i);
  }
  for (std::size_t i = 0; i < fitted.size(); ++i) {
    if (of_kind(i) && is_mirror_image(ring, i)) fitted[i] = mirrored(fitted[*partner_of(ring, i)]);
  }
}

std::vector<Point> places_of_mains(const Ring& ring, const std::vector<FittedSpeaker>& fitted) {
  std::vector<Point> places;
  for (std::size_t i = 0; i < fitted.size(); ++i) {
    if (ring.speakers[i].kind == SpeakerKind::main) places.push_back(place(fitted[i].direction, fitted[i].distance_m));
  }
  return places;
}

}  // namespace

FittedRing fit_ring(const Ring& ring, const SpeakerSpace& space, Metres wanted, Metres ear_height) {
  const auto possible_m = distances_in_plane(ring, space, wanted.value());
  std::vector<double> known_m;
  for (const auto& distance_m : possible_m) {
    if (distance_m) known_m.push_back(*distance_m);
  }
  FittedRing result{ring_distance(known_m, wanted.value()), {}, {}};
  for (std::size_t i = 0; i < possible_m.size(); ++i) {
    if (possible_m[i] && *possible_m[i] < wanted.value()) result.limited.push_back(i);
  }
  result.speakers.resize(ring.speakers.size());
  fit_kind(ring, SpeakerKind::main, result.speakers,
           [&](std::size_t i) { return fit_main(seeker_for(ring, i, space), result.distance_m); });
  const std::vector<Point> marks = places_of_mains(ring, result.speakers);
  const double sub_z_m = sub_centre_height_m - ear_height.value();
  fit_kind(ring, SpeakerKind::sub, result.speakers, [&](std::size_t i) {
    return fit_sub(ring.speakers[i], partner_of(ring, i).has_value(), space, result.distance_m, sub_z_m, marks);
  });
  return result;
}

}  // namespace ringtrue
