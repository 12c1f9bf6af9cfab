#pragma once

#include <array>
#include <span>
#include <vector>

namespace ringtrue {

/// A spot on the floor of a room, metres from two of its walls.
struct FloorSpot {
  double from_front_m = 0.0;
  double from_left_m = 0.0;
};

/// The floor of a room.
struct Floor {
  double length_m = 0.0;  // front to back
  double width_m = 0.0;
};

/// A cable to lay: how long it must be, and the pieces to buy.
struct CableRun {
  double run_m = 0.0;            // slack included
  std::vector<double> pieces_m;  // one, or several joined where none is long enough; the longest first
};

/// Lengths cables are commonly sold in (common practice, no standard).
inline constexpr std::array sold_lengths_m{1.0, 2.0, 3.0, 5.0, 7.5, 10.0, 15.0, 20.0};

/// Lengths of mains extension leads (common practice, no standard).
inline constexpr std::array sold_mains_lengths_m{2.0, 3.0, 5.0, 10.0, 15.0, 20.0};

/// Left over at both ends together, for plugs and for moving a stand a little: a working value.
inline constexpr double slack_m = 1.0;

/// The shortest way between two spots of a floor that keeps to the walls: straight to a near wall, along the walls
/// either way round, straight from a near wall. Near: the nearest one and those at most 1 m further away.
[[nodiscard]] double way_along_walls_m(const Floor& floor, FloorSpot a, FloorSpot b);

/// The pieces to buy for a run: the shortest length sold that is enough, or the longest ones joined by a shorter one.
/// @param sold  increasing
[[nodiscard]] CableRun cable_for(double run_m, std::span<const double> sold = sold_lengths_m);

}  // namespace ringtrue
