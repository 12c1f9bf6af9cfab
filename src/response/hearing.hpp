#pragma once

#include <cstddef>
#include <optional>
#include <span>
#include <vector>

#include "ringtrue/response/deconvolution.hpp"
#include "ringtrue/response/measurement.hpp"
#include "ringtrue/response/sweep_pair.hpp"
#include "ringtrue/response/synchronisation.hpp"

namespace ringtrue {

/// The recording with the microphone in its place: a loopback that reverberates and a microphone that does not were
/// exchanged on the way.
struct Channels {
  std::span<const float> microphone;
  std::span<const float> loopback;
  bool exchanged = false;
  std::vector<Deconvolver> wire{};           // with a loopback: by shape, at the nominal rate, over clock_window
  std::optional<double> loopback_start_s{};  // of the sweeps in the loopback, where it was looked for
};
[[nodiscard]] Channels sort_channels(const Stimulus& stimulus, const Recording& recording, unsigned threads);

/// What the two ways of playing have in common: each speaker's responses, on the stimulus' time line.
struct Heard {
  Synchronisation sync;
  std::vector<PairResponse> responses;  // as the pairs
  std::size_t zero_index = 0;
  std::optional<double> loopback_zero_ms;  // when the loopback arrives
};

/// Sweeps one after another.
/// @throws InvalidInput  when none of the sweeps is in the recording
[[nodiscard]] Heard hear_one_by_one(const Stimulus& stimulus, std::span<const SweepPair> pairs,
                                    const Channels& channels, const Recording& recording,
                                    const MeasureOptions& options);

/// Sweeps that overlap. As above.
[[nodiscard]] Heard hear_interleaved(const Stimulus& stimulus, std::span<const SweepPair> pairs,
                                     const Channels& channels, const Recording& recording,
                                     const MeasureOptions& options);

}  // namespace ringtrue
