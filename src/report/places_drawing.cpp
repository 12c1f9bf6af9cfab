#include "ringtrue/report/places_drawing.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "drawn_place.hpp"
#include "scale_drawing.hpp"

namespace ringtrue {
namespace {

using drawing::DrawnPlace;
using drawing::Extent;
using drawing::ScaleDrawing;
using drawing::Spot;

constexpr double around_m = 0.5;             // shown around the ring
constexpr double standard_deviations = 2.0;  // of the ellipses
constexpr double least_ellipse_m = 0.01;     // below that an ellipse hides under its symbol

/// One of the two views: axes of the page in the ear point's coordinates.
struct View {
  Point right;
  Point down;

  [[nodiscard]] Spot spot(Point p) const { return {dot(right, p), dot(down, p)}; }
};

constexpr View from_above{{1.0, 0.0, 0.0}, {0.0, -1.0, 0.0}};
constexpr View from_the_side{{0.0, -1.0, 0.0}, {0.0, 0.0, -1.0}};

/// Where a drawn speaker belongs, at its own distance.
Point nominal_point(const DrawnPlace& drawn) { return place(drawn.nominal->direction, length_m(drawn.place)); }

Extent extent_of(const std::vector<DrawnPlace>& places, const View& view) {
  Extent extent;
  const auto include = [&](Spot spot) {
    extent.low = {std::min(extent.low.u, spot.u), std::min(extent.low.v, spot.v)};
    extent.high = {std::max(extent.high.u, spot.u), std::max(extent.high.v, spot.v)};
  };
  for (const DrawnPlace& drawn : places) {
    include(view.spot(drawn.place));
    if (drawn.nominal) include(view.spot(nominal_point(drawn)));
  }
  return {{extent.low.u - around_m, extent.low.v - around_m}, {extent.high.u + around_m, extent.high.v + around_m}};
}

/// The shadow of the ellipsoid of uncertainty on the page: the covariance projected, its axes from the closed form of
/// a symmetric 2 x 2 matrix.
void draw_uncertainty(ScaleDrawing& paper, const DrawnPlace& drawn, const View& view) {
  const Point outwards = (1.0 / std::max(length_m(drawn.place), 1e-6)) * drawn.place;
  const Spot axis = view.spot(outwards);
  const double across = std::pow(drawn.across_uncertainty_m, 2);
  const double excess = std::pow(drawn.distance_uncertainty_m, 2) - across;
  const double a = across + excess * axis.u * axis.u;
  const double b = excess * axis.u * axis.v;
  const double c = across + excess * axis.v * axis.v;
  const double middle = 0.5 * (a + c);
  const double half = std::hypot(0.5 * (a - c), b);
  const double turn_deg = 0.5 * std::atan2(2.0 * b, a - c) * 180.0 / std::numbers::pi;
  const double along_m = standard_deviations * std::sqrt(middle + half);
  const double across_m = standard_deviations * std::sqrt(std::max(0.0, middle - half));
  if (along_m < least_ellipse_m) return;
  paper.ellipse(view.spot(drawn.place), along_m, across_m, turn_deg, drawn.wrong ? "unsure wrong" : "unsure");
}

void draw_allowed_azimuths(ScaleDrawing& paper, const DrawnPlace& drawn) {
  if (!drawn.nominal || !drawn.nominal->range) return;
  const AngleRange& range = *drawn.nominal->range;
  if (range.az_min_deg == range.az_max_deg) return;
  const double radius_m = std::hypot(drawn.place.x, drawn.place.y);
  paper.arc(radius_m, range.az_min_deg, range.az_max_deg, fmt::format("allowed {}", layer(drawn)));
}

void draw_allowed_elevations(ScaleDrawing& paper, const DrawnPlace& drawn) {
  if (!drawn.nominal || !drawn.nominal->range) return;
  const AngleRange& range = *drawn.nominal->range;
  if (range.el_min_deg == range.el_max_deg) return;
  const double azimuth_deg = nearest_allowed(*drawn.nominal, direction_of(drawn.place)).azimuth_deg;
  constexpr int pieces = 6;
  const auto end = [&](int i) {
    const double elevation_deg = range.el_min_deg + (range.el_max_deg - range.el_min_deg) * i / pieces;
    return from_the_side.spot(place({azimuth_deg, elevation_deg}, length_m(drawn.place)));
  };
  for (int i = 0; i < pieces; ++i) paper.line(end(i), end(i + 1), fmt::format("allowed {}", layer(drawn)));
}

std::string symbol_class(const DrawnPlace& drawn) {
  return fmt::format("{}{}{}", layer(drawn), drawn.wrong ? " wrong" : "", drawn.distance_known ? "" : " no-distance");
}

/// Speakers that fall on one spot of the paper share a label.
struct Group {
  Spot at;
  std::string labels;
  std::string css_class;
};

std::vector<Group> groups_of(const std::vector<DrawnPlace>& places, const View& view) {
  constexpr double same_m = 0.12;
  std::vector<Group> groups;
  for (const DrawnPlace& drawn : places) {
    const Spot at = view.spot(drawn.place);
    const auto same = std::ranges::find_if(
        groups, [&](const Group& group) { return std::hypot(group.at.u - at.u, group.at.v - at.v) < same_m; });
    if (same == groups.end()) {
      groups.push_back({at, drawn.label, symbol_class(drawn)});
    } else {
      same->labels += ", " + drawn.label;
      if (drawn.wrong) same->css_class = symbol_class(drawn);
    }
  }
  return groups;
}

void draw_places(ScaleDrawing& paper, const std::vector<DrawnPlace>& places, const View& view) {
  for (const DrawnPlace& drawn : places) {
    if (drawn.nominal) paper.cross(view.spot(nominal_point(drawn)), fmt::format("nominal {}", layer(drawn)));
  }
  for (const DrawnPlace& drawn : places) draw_uncertainty(paper, drawn, view);
  for (const DrawnPlace& drawn : places) {
    if (!drawn.wrong || !drawn.nominal) continue;
    const Direction allowed = nearest_allowed(*drawn.nominal, direction_of(drawn.place));
    paper.line(view.spot(drawn.place), view.spot(place(allowed, length_m(drawn.place))), "way");
  }
  for (const DrawnPlace& drawn : places) paper.loudspeaker(view.spot(drawn.place), symbol_class(drawn));
  paper.listener();
  for (const Group& group : groups_of(places, view)) paper.label(group.at, group.labels, "label " + group.css_class);
}

void draw_microphone(ScaleDrawing& paper, const Calibration& calibration, const View& view) {
  constexpr double dot_m = 0.02;
  for (const MicPosition& position : calibration.rig.positions) {
    paper.circle(view.spot(position.offset_m), dot_m, "mic");
  }
}

std::string in_words(const std::vector<DrawnPlace>& places) {
  return fmt::format("{} loudspeakers where they were found, with where they belong. The table lists them.",
                     places.size());
}

}  // namespace

bool has_places(const Calibration& calibration) {
  return std::ranges::any_of(calibration.speakers,
                             [](const SpeakerResult& speaker) { return speaker.measured.found.has_value(); });
}

std::string draw_places_from_above(const Calibration& calibration) {
  const auto places = drawing::drawn_places(calibration);
  const Extent extent = extent_of(places, from_above);
  ScaleDrawing paper{extent};
  for (const DrawnPlace& drawn : places) draw_allowed_azimuths(paper, drawn);
  draw_microphone(paper, calibration, from_above);
  draw_places(paper, places, from_above);
  paper.scale_bar({extent.low.u, extent.high.v});
  return paper.finish("places-above", "Plan: where the loudspeakers were found, from above, the front at the top",
                      in_words(places));
}

std::string draw_places_from_the_side(const Calibration& calibration) {
  const auto places = drawing::drawn_places(calibration);
  const double floor_v = calibration.rig.room.ear_height_m;
  Extent extent = extent_of(places, from_the_side);
  extent.high.v = std::max(floor_v, extent.high.v - around_m);
  ScaleDrawing paper{extent};
  paper.line({extent.low.u, floor_v}, {extent.high.u, floor_v}, "floor");
  paper.line({extent.low.u, 0.0}, {extent.high.u, 0.0}, "ear-height");
  for (const DrawnPlace& drawn : places) draw_allowed_elevations(paper, drawn);
  draw_microphone(paper, calibration, from_the_side);
  draw_places(paper, places, from_the_side);
  paper.scale_bar({extent.low.u, extent.high.v});
  return paper.finish("places-side",
                      "Side view: where the loudspeakers were found, from the left, the front on the left",
                      in_words(places));
}

}  // namespace ringtrue
