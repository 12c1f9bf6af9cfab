#pragma once

#include <optional>
#include <span>
#include <vector>

#include "ringtrue/response/deconvolution.hpp"
#include "ringtrue/response/measurement.hpp"
#include "ringtrue/stimulus/stimulus.hpp"

namespace ringtrue {

/// The two sweeps of one speaker: indices into Stimulus::sweeps, first and second pass.
struct SweepPair {
  std::size_t speaker = 0;
  std::size_t first = 0;
  std::size_t second = 0;
};

/// Speakers played (at least) twice, with their first and last sweep; in order of Stimulus::sweeps.
[[nodiscard]] std::vector<SweepPair> sweep_pairs(const Stimulus& stimulus);

constexpr double earliest_lag_s = -0.65;  // recorder started 0.5 s late: everything comes early in its file
constexpr double latest_lag_s = 1.2;      // recorder started 0.5 s early, plus latency and flight

/// A lag at which a sweep's response peaks.
struct Lag {
  double lag_s;
  double weight;  // 1 for a third of the strongest peak's height or more: reverberation counts little
};

/// Lags at which a response peaks ten times above its median, strongest first. @param h  sample zero_index is lag 0
[[nodiscard]] std::vector<Lag> prominent_lags(std::vector<float> h, std::size_t zero_index, double rate_hz);

/// Lags that many sweeps have in common: those with the most votes first, and others with half as many at least.
[[nodiscard]] std::vector<double> agreed_lags(const std::vector<std::vector<Lag>>& lags_by_sweep);

/// How far into a recording the stimulus starts, to some milliseconds: the lag at which several sweeps agree.
///
/// Searches start offsets of -0.65 s (recorder early) to +1.2 s (recorder late, or latency). A lag counts when the
/// responses of at least two sweeps peak within 40 ms of it, ten times above their median; most votes win.
/// @param shifts_s  by which each sweep is known to come later than planned (a step in the time line); empty: none
/// @returns seconds to add to a sweep's nominal time to find its first arrival in the recording; empty when none of
///          the sweeps is found
[[nodiscard]] std::optional<double> find_start(const Stimulus& stimulus, std::span<const float> channel,
                                               double recorder_rate_hz, std::span<const double> shifts_s = {},
                                               unsigned threads = 1);

/// Delay of `second` against `first` in samples, by the slope of the phase of their cross-spectrum, weighted by its
/// magnitude, after the peak of their correlation (C. H. Knapp, G. C. Carter, IEEE Trans. ASSP 24(4), 1976).
/// @param band  where to look, within half the sample rate
/// @returns  the delay, its uncertainty from the coherence, how alike the two are (0 to 1), and at how many independent
///           frequencies, 1 / length apart, they are: a response agrees at very many, a hum at its few lines
struct PairLag {
  double lag_samples = 0.0;
  double uncertainty_samples = 0.0;
  double coherence = 0.0;
  double frequencies = 0.0;
};
[[nodiscard]] PairLag pair_lag(std::span<const float> first, std::span<const float> second, Band band,
                               double sample_rate_hz);

/// The same for a broad band where the delay is known to be below half a period of the highest frequency or so: no
/// correlation is searched. A larger one shows as a low coherence or a large delay; not so in a narrow band.
[[nodiscard]] PairLag small_pair_lag(std::span<const float> first, std::span<const float> second, Band band,
                                     double sample_rate_hz);

}  // namespace ringtrue
