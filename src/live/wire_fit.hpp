#pragma once

#include <cstddef>
#include <span>
#include <vector>

namespace ringtrue {

/// How much of a stretch of the loopback is explained by what was played. Mean squares.
struct WireFit {
  double heard = 0.0;
  double unexplained = 0.0;

  [[nodiscard]] double explained() const { return heard - unexplained; }
};

/// Frames of what was played that are needed on either side of the stretch.
inline constexpr std::size_t wire_reach = 8;

/// Least squares of what was heard against what any wire with two converters makes of what was played: 2 * wire_reach
/// taps around the same frame (delay in fractions of a frame, the converters' filters), the 2nd, 3rd and 5th power
/// (distortion), and an offset.
/// @param heard  the stretch
/// @param played  one or more signals of heard.size() + 2 * wire_reach samples: the one for heard[n] is [n +
/// wire_reach]
[[nodiscard]] WireFit fit_wire(std::span<const double> heard, std::span<const std::vector<double>> played);

}  // namespace ringtrue
