#pragma once

#include <array>
#include <optional>
#include <string_view>

namespace ringtrue {

/// Family and steepness (dB/octave) of an interface's crossover.
enum class CrossoverSlope { lr12, lr24, lr36, lr48, bw12, bw18, bw24 };

inline constexpr std::array<CrossoverSlope, 7> crossover_slopes{
    CrossoverSlope::lr12, CrossoverSlope::lr24, CrossoverSlope::lr36, CrossoverSlope::lr48,
    CrossoverSlope::bw12, CrossoverSlope::bw18, CrossoverSlope::bw24};

/// "LR24", as rig.toml writes it.
[[nodiscard]] constexpr const char* name(CrossoverSlope slope) {
  switch (slope) {
    case CrossoverSlope::lr12: return "LR12";
    case CrossoverSlope::lr24: return "LR24";
    case CrossoverSlope::lr36: return "LR36";
    case CrossoverSlope::lr48: return "LR48";
    case CrossoverSlope::bw12: return "BW12";
    case CrossoverSlope::bw18: return "BW18";
    case CrossoverSlope::bw24: return "BW24";
  }
  return "LR24";
}

/// The slope of exactly that name; empty for any other text.
[[nodiscard]] constexpr std::optional<CrossoverSlope> find_crossover_slope(std::string_view text) {
  for (const CrossoverSlope slope : crossover_slopes) {
    if (text == name(slope)) return slope;
  }
  return std::nullopt;
}

}  // namespace ringtrue
