#include "spot_places.hpp"

#include <fmt/format.h>

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>

#include "ringtrue/core/statistics.hpp"
#include "ringtrue/rig/layout.hpp"

namespace ringtrue {

/// Where a speaker should be, seen from the ear point; empty where the layout does not say.
std::optional<Point> nominal_place(const Rig& rig, const PositionMeasurement& first, std::size_t s) {
  const Layout* layout = find_layout(rig.layout);
  if (layout == nullptr || rig.speakers[s].kind == SpeakerKind::sub) return {};
  const LayoutChannel* channel = find_channel(*layout, rig.speakers[s].label);
  if (channel == nullptr || channel->is_lfe) return {};
  constexpr double usual_distance_m = 2.0;
  double distance = usual_distance_m;
  if (first.absolute_time && first.speakers[s].arrival_ms) {
    const double c = speed_of_sound(Celsius{rig.room.temperature_c}).value();
    distance = std::clamp(first.speakers[s].arrival_ms->value * 1e-3 * c, 0.5, 20.0);
  }
  return place(channel->nominal, distance);
}

namespace {

using Places = std::vector<std::optional<Point>>;  // of each speaker, from the ear point

/// How far the mic stood from where the rig says, and how sure that is.
struct Move {
  Point by;
  double uncertainty_m = 0.0;
};

/// By iterated least squares with weights 1 / (1 + (r / s)^2); a weak pull towards no move, for what the ring cannot
/// see.
std::optional<Move> find_move(const Rig& rig, std::span<const PositionMeasurement> positions, const Places& places,
                              std::size_t p) {
  constexpr double pull_m = 0.5;
  const double c = speed_of_sound(Celsius{rig.room.temperature_c}).value();
  const Point from = rig.positions.front().offset_m;
  const Point here = rig.positions[p].offset_m;
  std::vector<Eigen::Vector4d> rows;
  std::vector<double> excess_m;
  for (std::size_t s = 0; s < rig.speakers.size(); ++s) {
    const auto& stands = places[s];
    const auto& first = positions.front().speakers[s].arrival_ms;
    const auto& second = positions[p].speakers[s].arrival_ms;
    const bool both = positions.front().speakers[s].heard && positions[p].speakers[s].heard && first && second;
    if (!stands || !both) continue;
    const Point way = *stands - here;
    const double distance = std::max(0.1, length_m(way));
    const double expected_m = distance - length_m(*stands - from);
    rows.emplace_back(-way.x / distance, -way.y / distance, -way.z / distance, 1.0);
    excess_m.push_back((second->value - first->value) * 1e-3 * c - expected_m);
  }
  constexpr std::size_t unknowns = 4;
  if (rows.size() < unknowns + 1) return {};

  std::vector<double> weights(rows.size(), 1.0);
  Eigen::Vector4d x = Eigen::Vector4d::Zero();
  double scale_m = 0.0;
  Eigen::Matrix4d normal;
  for (int round = 0; round < 20; ++round) {
    normal = Eigen::Vector4d{1.0, 1.0, 1.0, 0.0}.asDiagonal();
    normal *= 1e-3 / (pull_m * pull_m);
    Eigen::Vector4d right = Eigen::Vector4d::Zero();
    for (std::size_t i = 0; i < rows.size(); ++i) {
      normal += weights[i] * rows[i] * rows[i].transpose();
      right += weights[i] * excess_m[i] * rows[i];
    }
    x = normal.ldlt().solve(right);
    std::vector<double> sizes;
    for (std::size_t i = 0; i < rows.size(); ++i) sizes.push_back(std::abs(rows[i].dot(x) - excess_m[i]));
    scale_m = std::max(0.01, 1.5 * median(sizes));
    for (std::size_t i = 0; i < rows.size(); ++i) weights[i] = 1.0 / (1.0 + std::pow(sizes[i] / (2.0 * scale_m), 2.0));
  }
  const double spread = std::sqrt(normal.inverse().topLeftCorner<3, 3>().trace());
  // Few speakers beyond the unknowns leave little to judge the scale by.
  const auto count = static_cast<double>(rows.size());
  const double scarcity = std::sqrt(count / (count - static_cast<double>(unknowns)));
  return Move{{x[0], x[1], x[2]}, scarcity * scale_m * std::min(spread, 10.0)};
}

std::string words_of(Point by) {
  std::string words;
  const auto add = [&](double metres, const char* positive, const char* negative) {
    const long cm = std::lround(metres * 100.0);
    if (std::abs(cm) < 3) return;
    words += fmt::format("{}{} cm {}", words.empty() ? "" : ", ", std::abs(cm), cm > 0 ? positive : negative);
  };
  add(by.x, "right", "left");
  add(by.y, "forward", "back");
  add(by.z, "up", "down");
  return words;
}

constexpr double misplaced_m = 0.12;  // what speakers a few degrees off their nominal places cannot feign at 0.25 m

/// The position whose place fits where this recording was made, if it is not its own.
std::optional<std::size_t> place_of(const Rig& rig, std::size_t p, std::size_t count, Point by) {
  const Point found = rig.positions[p].offset_m + by;
  std::optional<std::size_t> nearest;
  for (std::size_t q = 0; q < count; ++q) {
    const double away = length_m(found - rig.positions[q].offset_m);
    if (q == p || away > misplaced_m) continue;
    if (!nearest || away < length_m(found - rig.positions[*nearest].offset_m)) nearest = q;
  }
  return nearest;
}

bool is_misplaced(const Move& move) {
  return length_m(move.by) > misplaced_m && length_m(move.by) > 4.0 * move.uncertainty_m;
}

/// Moves of all positions against the rig. When most of the others have moved alike, it was the first that did.
std::vector<std::optional<Move>> find_moves(const Rig& rig, std::span<const PositionMeasurement> positions,
                                            const Places& places) {
  std::vector<std::optional<Move>> moves(positions.size());
  std::vector<double> x;
  std::vector<double> y;
  std::vector<double> z;
  std::vector<double> uncertainties_m;
  for (std::size_t p = 1; p < positions.size(); ++p) {
    moves[p] = find_move(rig, positions, places, p);
    if (!moves[p]) continue;
    x.push_back(moves[p]->by.x);
    y.push_back(moves[p]->by.y);
    z.push_back(moves[p]->by.z);
    uncertainties_m.push_back(moves[p]->uncertainty_m);
  }
  constexpr std::size_t enough_to_vote = 3;
  if (x.size() < enough_to_vote) return moves;
  const Point common{median(x), median(y), median(z)};
  if (length_m(common) <= misplaced_m) return moves;
  std::size_t alike = 0;
  for (const auto& move : moves) alike += move && length_m(move->by - common) < misplaced_m;
  if (2 * alike <= x.size()) return moves;
  moves.front() = Move{-1.0 * common, median(uncertainties_m)};
  for (std::size_t p = 1; p < positions.size(); ++p) {
    if (moves[p]) moves[p]->by = moves[p]->by - common;
  }
  return moves;
}

}  // namespace

void find_misplaced_spots(const Rig& rig, std::span<const PositionMeasurement> positions, SpotCheck& check) {
  Places places;
  for (std::size_t s = 0; s < rig.speakers.size(); ++s) places.push_back(nominal_place(rig, positions.front(), s));
  const auto moves = find_moves(rig, positions, places);
  for (std::size_t p = 0; p < positions.size(); ++p) {
    if (!moves[p] || !is_misplaced(*moves[p])) continue;
    check.stood[p].reset();
    const auto other = place_of(rig, p, positions.size(), moves[p]->by);
    const bool exchanged = other && moves[*other] && is_misplaced(*moves[*other]) &&
                           place_of(rig, *other, positions.size(), moves[*other]->by) == p;
    std::string what =
        fmt::format("was made some {:.0f} cm from there ({})", 100.0 * length_m(moves[p]->by), words_of(moves[p]->by));
    std::string remedy = "Put the microphone where the rig says, or correct [[position]] in the rig";
    if (exchanged) {
      what = fmt::format("fits position {}, and that one's fits this: the two are exchanged", *other + 1);
      remedy = "Give the recordings in the rig's order";
    } else if (other) {
      what = fmt::format("fits position {} instead", *other + 1);
      remedy = "Give the recordings in the rig's order, one for each position";
    }
    check.findings.push_back({Severity::warn, "spot-misplaced", std::nullopt,
                              fmt::format("{}: the recording for position {} {}. {}{}.", positions[p].name, p + 1, what,
                                          remedy, p == 0 ? "; delays and trims belong to where it was made" : "")});
    if (exchanged) check.stood[p] = rig.positions[*other].offset_m;
  }
}

}  // namespace ringtrue
