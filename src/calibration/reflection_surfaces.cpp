#include <algorithm>
#include <cmath>

#include "ringtrue/placement/nominal.hpp"
#include "room.hpp"

namespace ringtrue {
namespace {

constexpr double due_within_ms = 0.25;  // 8 cm: tape measure, found places
constexpr double fit_width_ms = 0.12;
constexpr double step_m = 0.02;
constexpr double nearest_wall_m = 0.3;
constexpr double apart_m = 0.15;  // places further apart than this are two places
constexpr double explained_share = 0.5;
constexpr double clearly_more = 1.1;

struct Source {
  std::size_t speaker = 0;
  Point place;
};

/// A wall across one axis: what is at `at` metres along it is mirrored.
double mirrored_ms(Point source, int axis, double at, double c_m_s) {
  Point image = source;
  double& coordinate = axis == 0 ? image.x : axis == 1 ? image.y : image.z;
  coordinate = 2.0 * at - coordinate;
  return 1e3 * (length_m(image) - length_m(source)) / c_m_s;
}

std::vector<Source> placed_speakers(const Rig& rig, const Calibration& calibration) {
  const auto nominal = nominal_places(rig);
  std::vector<Source> sources;
  for (std::size_t s = 0; s < calibration.speakers.size(); ++s) {
    const MeasuredSpeaker& measured = calibration.speakers[s].measured;
    if (measured.room.reflections.empty()) continue;
    if (measured.position_m) {
      sources.push_back({s, *measured.position_m});
    } else if (nominal[s] && measured.positions.front().distance_m) {
      sources.push_back({s, place(nominal[s]->direction, *measured.positions.front().distance_m)});
    }
  }
  return sources;
}

/// How well one wall's reflection is there: 1 at the right time, less beside it; strong ones count more.
double seen(const std::vector<ReflectionResult>& reflections, double due_ms) {
  double best = 0.0;
  for (const ReflectionResult& reflection : reflections) {
    if (!reflection.surface.empty()) continue;
    const double off = (reflection.delay_ms - due_ms) / fit_width_ms;
    best = std::max(best, std::exp(-0.5 * off * off) * std::min(1.0, 0.5 + std::pow(10.0, reflection.level_db / 20.0)));
  }
  return best;
}

/// Of two walls `apart` metres from each other across an axis: the distance of the one on the negative side (left,
/// back) from the ear that explains the reflections best.
std::optional<double> fit_walls(const Calibration& calibration, std::span<const Source> sources, int axis, double apart,
                                double c_m_s) {
  const auto along = [&](const Source& source) { return axis == 0 ? source.place.x : source.place.y; };
  std::vector<double> scores;
  std::vector<double> places;
  double expected = 0.0;
  for (double below = nearest_wall_m; below <= apart - nearest_wall_m; below += step_m) {
    double score = 0.0;
    double due = 0.0;
    bool outside = false;
    for (const Source& source : sources) {
      outside = outside || along(source) < -below || along(source) > apart - below;
      for (const double at : {-below, apart - below}) {
        const double due_ms = mirrored_ms(source.place, axis, at, c_m_s);
        if (due_ms < 0.6 || due_ms > 20.0) continue;
        due += 0.7;
        score += seen(calibration.speakers[source.speaker].measured.room.reflections, due_ms);
      }
    }
    places.push_back(below);
    scores.push_back(outside ? 0.0 : score);
    if (scores.back() >= *std::ranges::max_element(scores)) expected = due;
  }
  if (scores.empty()) return {};
  const auto best = static_cast<std::size_t>(std::ranges::max_element(scores) - scores.begin());
  double other = 0.0;
  for (std::size_t i = 0; i < scores.size(); ++i) {
    if (std::abs(places[i] - places[best]) > apart_m) other = std::max(other, scores[i]);
  }
  if (scores[best] < explained_share * expected || scores[best] < clearly_more * other) return {};
  return places[best];
}

void name_by(Calibration& calibration, std::span<const Source> sources, int axis, double at, const char* surface,
             double c_m_s) {
  for (const Source& source : sources) {
    auto& reflections = calibration.speakers[source.speaker].measured.room.reflections;
    const double due_ms = mirrored_ms(source.place, axis, at, c_m_s);
    ReflectionResult* nearest = nullptr;
    for (ReflectionResult& reflection : reflections) {
      const double off = std::abs(reflection.delay_ms - due_ms);
      if (off > due_within_ms || !reflection.surface.empty()) continue;
      if (nearest == nullptr || off < std::abs(nearest->delay_ms - due_ms)) nearest = &reflection;
    }
    if (nearest != nullptr) nearest->surface = surface;
  }
}

}  // namespace

void name_surfaces(const Rig& rig, Calibration& calibration) {
  const double c = speed_of_sound(Celsius{rig.room.temperature_c}).value();
  const auto& [length, width, height] = *rig.room.size_m;
  const auto sources = placed_speakers(rig, calibration);
  if (sources.empty()) return;
  if (rig.room.ear_height_m < height) {
    name_by(calibration, sources, 2, -rig.room.ear_height_m, "floor", c);
    name_by(calibration, sources, 2, height - rig.room.ear_height_m, "ceiling", c);
  }
  if (const auto left = fit_walls(calibration, sources, 0, width, c)) {
    calibration.room.ear.from_left_m = *left;
    name_by(calibration, sources, 0, -*left, "left wall", c);
    name_by(calibration, sources, 0, width - *left, "right wall", c);
  }
  if (const auto back = fit_walls(calibration, sources, 1, length, c)) {
    calibration.room.ear.from_front_m = length - *back;
    name_by(calibration, sources, 1, length - *back, "front wall", c);
    name_by(calibration, sources, 1, -*back, "back wall", c);
  }
}

}  // namespace ringtrue
