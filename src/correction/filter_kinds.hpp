#pragma once

#include <array>
#include <optional>
#include <span>
#include <vector>

#include "fit_model.hpp"

namespace ringtrue {

/// A kind of filter that may be placed: where, by whom, how.
struct FilterKind {
  FilterShape shape;
  std::optional<std::size_t> speaker;
  std::array<double, 2> frequency_hz;
  std::array<double, 2> q;
  bool boost;
};

/// All kinds that the interface's limits and restraint allow.
[[nodiscard]] std::vector<FilterKind> filter_kinds(std::span<const WantedCorrection> speakers,
                                                   const EqualiserLimits& limits, double transition_hz);

/// Filters of one shape on a grid of frequencies and Qs, as gains per dB; made once and used for every placement.
struct FilterCandidate {
  Filter filter;  // at -3 or +3 dB
  Eigen::ArrayXd unit;
};

[[nodiscard]] std::vector<FilterCandidate> filter_candidates(const FitModel& model, const FilterKind& kind);

}  // namespace ringtrue
