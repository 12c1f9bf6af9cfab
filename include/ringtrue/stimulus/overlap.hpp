#pragma once

#include <cstddef>

#include "ringtrue/stimulus/stimulus.hpp"

namespace ringtrue {

/// Whether sweeps sound at the same time.
[[nodiscard]] bool is_interleaved(const Stimulus& stimulus);

/// How many sweeps sound at once at most.
[[nodiscard]] std::size_t most_at_once(const Stimulus& stimulus);

/// When one sweep, deconvolved with the inverse of another one's, comes after that one's own response.
///
/// At the frequency f sweep j passes its harmonic k at t_j + L_j ln(f / (k f1_j)), sweep i itself at
/// t_i + L_i ln(f / f1_i); the difference is linear in ln f, so its extremes lie at the ends of the band that both
/// have.
struct RidgeDistance {
  bool meet = false;   // some frequency is in both
  double least_s = 0;  // over the band that both have; negative: before
  double most_s = 0;
};

/// @param order  of the harmonic of `other`, 1: the sweep itself
[[nodiscard]] RidgeDistance ridge_distance(const Stimulus& stimulus, std::size_t sweep, std::size_t other, int order);

/// The stretch around a sweep's own response in which nothing else begins: from `before` it to `after` it.
struct ClearWindow {
  Seconds before{0.0};
  Seconds after{0.0};
};

constexpr int harmonics_kept_out = 3;  // orders of distortion that a schedule keeps out of responses at least

/// @param harmonics  highest order of distortion that counts
[[nodiscard]] ClearWindow clear_window(const Stimulus& stimulus, std::size_t sweep, int harmonics);

}  // namespace ringtrue
