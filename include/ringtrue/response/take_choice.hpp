#pragma once

#include <array>
#include <cstddef>
#include <optional>
#include <span>
#include <vector>

#include "ringtrue/response/recording_checks.hpp"
#include "ringtrue/response/sweep_pair.hpp"
#include "ringtrue/response/synchronisation.hpp"
#include "ringtrue/response/takes.hpp"

namespace ringtrue {

/// What is wrong with the sound itself, by sweep of the stimulus.
struct RecordingFaults {
  std::vector<std::size_t> clipped;                    // frames clipped during each sweep
  std::vector<Stretch> dropped;                        // runs of zeros
  std::vector<std::optional<std::size_t>> dropped_in;  // for each sweep: index into `dropped`
  std::vector<std::optional<Stretch>> repeated_in;     // for each sweep: a buffer that is in it twice
  double format_step = 1.0;                            // SampleSurvey::least_magnitude
};

[[nodiscard]] RecordingFaults find_faults(std::span<const float> microphone, const SampleSurvey& survey,
                                          const Stimulus& stimulus, const Synchronisation& sync, unsigned threads);

enum class TakeFault { none, absent, cut, dropped, repeated, clipped, disturbed };

/// Which takes of a pair serve, and why not.
struct TakeChoice {
  std::array<TakeFault, 2> faults{TakeFault::none, TakeFault::none};
  std::array<bool, 2> used{true, true};
  bool usable = true;                              // false: every take is spoilt; what is measured is not to be trusted
  std::array<bool, 2> noisy{false, false};         // a noise fell into the take, whatever else is wrong with it
  std::array<double, 2> disturbance_db{0.0, 0.0};  // over the noise of the other blocks
  std::array<double, 2> disturbed_at_s{0.0, 0.0};  // in the recording
  double broken_frames = 0.0;                      // lost or put in during a take that is `cut`
};

/// Leaves out takes that are missing, cut by lost samples, hit by a dropout or disturbed by a noise, as long as the
/// other take of the speaker is whole; says so where it is not.
[[nodiscard]] std::vector<TakeChoice> choose_takes(const Stimulus& stimulus, std::span<const SweepPair> pairs,
                                                   std::span<const PairResponse> responses,
                                                   const RecordingFaults& faults, const Synchronisation& sync,
                                                   std::span<const float> microphone, std::size_t zero_index);

/// The takes of pair i as chosen; noise for a single take comes from another pair of the same sweep. Empty: none left.
[[nodiscard]] std::optional<Takes> takes_of(std::size_t i, std::span<const PairResponse> responses,
                                            std::span<const TakeChoice> choices, const Stimulus& stimulus,
                                            std::span<const SweepPair> pairs, double rate_hz, std::size_t zero_index);

}  // namespace ringtrue
